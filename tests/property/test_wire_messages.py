"""Messages: what is sent is what is read, and nothing that arrives raises an error of another tree."""

import string

import cbor2
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

import emberline_wire as wire
from emberline_wire.limits import MAX_BODY_BYTES, MAX_HOST_FRAME_BYTES, U32_MAX, U64_MAX

SEEDED = settings(derandomize=True, deadline=None)
U32 = st.integers(0, U32_MAX)
STREAM = st.integers(0, 63)
PERIOD = st.integers(1_000, 60_000_000)
WORD = st.text(string.ascii_letters + string.digits + "_-.", min_size=1, max_size=16)
WANTED = st.dictionaries(STREAM, U32, min_size=1, max_size=12)
CHANNEL = st.builds(
    wire.Channel,
    id=STREAM,
    name=WORD,
    kind=st.sampled_from(wire.Kind),
    period_us=PERIOD,
    scale=st.floats(2.0**-20, 2.0**20, width=32) | st.floats(-(2.0**20), -(2.0**-20), width=32),
    zero=st.integers(-(2**31), 2**31 - 1),
    serves=st.none() | STREAM,
)
HELLO = st.builds(
    wire.Hello,
    boot=U32,
    device=WORD,
    firmware=WORD,
    channels=st.lists(CHANNEL, min_size=1, max_size=8, unique_by=(lambda c: c.id, lambda c: c.name)).map(tuple),
    ticks=U32,
    frame_period_ms=st.integers(1, 2000),
    ring_ms=st.integers(0, 3_600_000),
)


@st.composite
def samples(draw: st.DrawFn) -> wire.Samples:
    count = draw(st.integers(1, 60))
    dtype = draw(st.sampled_from(["u1", "i1", "<u2", "<i2", "<u4", "<i4", "<f4"]))
    values = np.frombuffer(draw(st.binary(min_size=count * 4, max_size=count * 4)), dtype=dtype)[:count]
    first = draw(st.integers(0, U32_MAX - 250))
    even = draw(st.booleans())
    offsets = np.sort(np.array(draw(st.lists(st.integers(0, 65535), min_size=count, max_size=count)), dtype=np.uint16))
    faults = np.array(draw(st.lists(st.integers(0, 255), min_size=count, max_size=count)), dtype=np.uint8)
    return wire.Samples(
        boot=draw(U32),
        stream=draw(STREAM),
        first_seq=first,
        ticks=draw(U32),
        values=values,
        oldest_seq=draw(st.integers(0, first)),
        period_us=draw(st.integers(1000, 30_000)) if even else None,
        offsets=None if even else offsets,
        faults=draw(st.sampled_from([faults, None])),
    )


FROM_DEVICE: st.SearchStrategy[wire.Message] = st.one_of(
    HELLO,
    samples(),
    st.builds(wire.Status, boot=U32, ticks=U32, flags=U32.map(wire.DeviceFlag), rejected=U32, lost=U32, waiting=U32),
    st.builds(wire.Pong, boot=U32, time_ns=st.integers(0, U64_MAX), ticks=U32),
)
FROM_HOST: st.SearchStrategy[wire.Message] = st.one_of(
    st.builds(wire.Ping, st.integers(0, U64_MAX)),
    st.builds(wire.Identify, st.integers(1, U32_MAX)),
    st.builds(wire.Start, U32),
    st.builds(wire.Stop, U32),
    st.builds(wire.SetRate, U32, STREAM, PERIOD),
    st.builds(wire.Ack, U32, WANTED),
    st.builds(wire.Resume, U32, WANTED),
)
ITEM = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**70), 2**70)
    | st.floats()
    | st.text(max_size=5)
    | st.binary(max_size=9),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.integers(0, 9) | st.text(max_size=2), inner, max_size=4)
        | st.builds(cbor2.CBORTag, st.sampled_from([64, 69, 70, 77, 78, 85, 99, 1000]), inner)
    ),
    max_leaves=8,
)


@SEEDED
@given(FROM_DEVICE | FROM_HOST)
def test_what_is_sent_is_what_is_read(message: wire.Message) -> None:
    body = message.to_bytes()
    read = wire.decode_message(body)
    assert type(read) is type(message)
    assert read.to_bytes() == body
    if not isinstance(message, wire.Samples):
        assert read == message


@SEEDED
@given(st.lists(FROM_DEVICE | FROM_HOST, max_size=5), st.binary(max_size=40))
def test_messages_that_stand_together_are_read_one_by_one_and_junk_behind_them_costs_none(
    messages: list[wire.Message], junk: bytes
) -> None:
    bodies = [message.to_bytes() for message in messages]
    found = wire.decode_body(b"".join(bodies) + junk)
    assert [one.to_bytes() for one in found[: len(bodies)] if isinstance(one, wire.Message)] == bodies
    assert list(map(told, found[len(bodies) :])) == list(map(told, wire.decode_body(junk)))


def told(one: wire.Message | wire.MessageError) -> object:
    return one.to_bytes() if isinstance(one, wire.Message) else type(one)


@SEEDED
@given(FROM_HOST)
def test_a_hosts_frame_fits_a_small_controllers_buffer(message: wire.Message) -> None:
    assert len(wire.encode_frame(message.to_bytes())) <= MAX_HOST_FRAME_BYTES


def feed(body: bytes) -> None:
    """Decode a body, and give it to a session with and without a device; nothing may be raised."""
    found = wire.decode_body(body)
    assert len(found) <= len(body)
    for one in found:
        assert isinstance(one, wire.MessageError) or len(one.to_bytes()) < 4 * MAX_BODY_BYTES
    session = wire.Session()
    session.connected(0)
    for t_ns, packet in enumerate([body, CALM_HELLO, body, body]):
        if 0 < len(packet) <= MAX_BODY_BYTES:
            session.receive(wire.encode_frame(packet), t_ns)
            session.take(session.open_packet(wire.seal(packet)), t_ns)
    session.tick(10**10)
    session.bytes_to_send()


CALM_HELLO = wire.Hello(
    1, "d", "1", (wire.Channel(0, "mass", wire.Kind.BRIDGE_COUNTS, 100_000, 1.0),), 0, 1000, 8000
).to_bytes()


@SEEDED
@given(st.binary(max_size=MAX_BODY_BYTES))
def test_any_bytes(body: bytes) -> None:
    feed(body)


@SEEDED
@given(st.dictionaries(st.integers(0, 9), ITEM, max_size=9), st.sampled_from([1, 2, 3, 4, 16, 17, 18, 20, 21, 22]))
def test_any_map_with_a_known_type(fields: dict[int, object], kind: int) -> None:
    feed(cbor2.dumps({**fields, 0: kind})[:MAX_BODY_BYTES])


@SEEDED
@given(FROM_DEVICE, st.data())
def test_a_valid_message_with_one_field_changed(message: wire.Message, data: st.DataObject) -> None:
    fields = {0: message.TYPE, **message.to_fields()}
    key = data.draw(st.sampled_from(sorted(fields)))
    fields[key] = data.draw(ITEM)
    feed(cbor2.dumps({k: v for k, v in fields.items() if v is not None})[:MAX_BODY_BYTES])
