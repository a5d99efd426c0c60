"""Framing under any chunking, any corruption, and noise without end."""

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from emberline_wire.framing import FrameDecoder, encode_frame
from emberline_wire.limits import MAX_BODY_BYTES, MAX_FRAME_BYTES

SEEDED = settings(derandomize=True, deadline=None)
BODIES = st.lists(st.binary(min_size=1, max_size=60) | st.binary(min_size=230, max_size=MAX_BODY_BYTES), max_size=8)


def chunks(data: bytes, cuts: list[int]) -> list[bytes]:
    edges = sorted({0, len(data), *(cut % (len(data) + 1) for cut in cuts)})
    return [data[a:b] for a, b in pairwise(edges)]


@SEEDED
@given(BODIES, st.lists(st.integers(0, 10_000), max_size=20))
def test_bodies_come_back_however_the_bytes_are_cut(bodies: list[bytes], cuts: list[int]) -> None:
    decoder = FrameDecoder()
    out = [body for chunk in chunks(b"".join(map(encode_frame, bodies)), cuts) for body in decoder.feed(chunk)]
    assert out == bodies
    assert decoder.counters.discarded == 0
    assert decoder.buffered == 0


@SEEDED
@given(
    st.lists(st.binary(min_size=1, max_size=40), min_size=1, max_size=8, unique=True),
    st.lists(
        st.tuples(st.sampled_from(["flip", "drop", "double", "insert"]), st.integers(0, 10_000), st.integers(1, 255))
    ),
)
def test_corruption_costs_at_most_the_frames_it_touches(
    bodies: list[bytes], damage: list[tuple[str, int, int]]
) -> None:
    frames = [encode_frame(body) for body in bodies]
    owner = [number for number, frame in enumerate(frames) for _ in frame]
    octets = [bytes([octet]) for frame in frames for octet in frame]
    touched = set()
    for how, where, value in damage:
        at = where % len(octets)
        touched.add(owner[at])
        whole = bytes(octets[at])
        octets[at] = {
            "flip": bytes([whole[0] ^ value]) if whole else b"",
            "drop": b"",
            "double": whole * 2,
            "insert": whole + bytes([value]),
        }[how][:8]
    decoder = FrameDecoder()
    out = decoder.feed(b"".join(octets))
    assert [body for number, body in enumerate(bodies) if number not in touched] == [
        body for body in out if body not in {bodies[number] for number in touched}
    ]
    assert set(out) <= set(bodies)


@SEEDED
@given(st.lists(st.binary(max_size=2000), max_size=20))
def test_noise_fills_no_memory_raises_nothing_and_is_all_counted(noise: list[bytes]) -> None:
    decoder = FrameDecoder()
    bodies = []
    for chunk in noise:
        bodies += decoder.feed(chunk)
        assert decoder.buffered <= 2 * MAX_FRAME_BYTES
    data = b"".join(noise)
    kept = sum(len(encode_frame(body)) - 2 for body in bodies)
    assert decoder.counters.bytes_discarded + decoder.buffered + kept == len(data) - data.count(0)
    assert decoder.feed(b"\0" + encode_frame(b"after all")) == [b"after all"]
