import base64
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emberline.bench.samples import SampleBatch
from emberline.store.blocks import CODEC, TOGETHER, Commit, decode, decode_each, encode, encode_each, joined
from emberline.store.errors import StoreDamagedError

FLOATS = st.floats(allow_nan=True, allow_infinity=True, width=64)
WHOLE = st.integers(-(2**31), 2**31).map(float)


@st.composite
def batches(draw: st.DrawFn) -> SampleBatch:
    n = draw(st.integers(1, 40))
    steps = draw(st.lists(st.integers(0, 10**12), min_size=n, max_size=n))
    values = draw(st.lists(draw(st.sampled_from([FLOATS, WHOLE])), min_size=n, max_size=n))
    return SampleBatch(
        draw(st.sampled_from(["a", 'böse "Platte"', ""])),
        draw(st.integers(0, 2**40)),
        draw(st.sampled_from(["mass", "water"])),
        draw(st.integers(0, 2**50)),
        np.int64(1_764_072_000_000_000_000) + np.cumsum(np.array(steps, dtype=np.int64)),
        np.array(values, dtype=np.float64),
        np.array(draw(st.lists(st.integers(0, 255), min_size=n, max_size=n)), dtype=np.uint8),
    )


def same(one: SampleBatch, other: SampleBatch) -> bool:
    return (
        (one.device, one.boot, one.channel, one.first_seq) == (other.device, other.boot, other.channel, other.first_seq)
        and one.t_ns.tobytes() == other.t_ns.tobytes()
        and one.raw.tobytes() == other.raw.tobytes()
        and one.flags.tobytes() == other.flags.tobytes()
    )


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.lists(st.lists(batches(), min_size=1, max_size=4), min_size=1, max_size=5))
def test_every_bit_and_the_order_come_back(commits: list[list[SampleBatch]]) -> None:
    given_commits = [Commit(10 + 3 * i, tuple(one)) for i, one in enumerate(commits)]
    got = decode(encode(given_commits))
    assert [one.id for one in got] == [one.id for one in given_commits]
    for one, other in zip(given_commits, got, strict=True):
        assert len(one.batches) == len(other.batches)
        assert all(same(a, b) for a, b in zip(one.batches, other.batches, strict=True))
        assert all(b.t_ns.dtype == np.int64 and b.raw.dtype == np.float64 for b in other.batches)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.lists(st.lists(batches(), min_size=1, max_size=4), min_size=1, max_size=5))
def test_blocks_that_are_written_and_read_together_are_those_of_each_by_itself(
    several: list[list[SampleBatch]],
) -> None:
    blocks = [[Commit(10 + i, tuple(one))] for i, one in enumerate(several)]
    payloads = encode_each(blocks)
    assert payloads == [encode(one) for one in blocks]
    for (commit,), given_batches in zip(decode_each([(CODEC, payload) for payload in payloads]), several, strict=True):
        assert all(same(a, b) for a, b in zip(commit.batches, given_batches, strict=True))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.lists(st.lists(batches(), min_size=1, max_size=4), min_size=2, max_size=6), st.integers(1, 5))
def test_joined_blocks_are_the_block_of_all_their_commits(several: list[list[SampleBatch]], cut: int) -> None:
    commits = [Commit(10 + 3 * i, tuple(one)) for i, one in enumerate(several)]
    parts = [part for part in (commits[:cut], commits[cut:]) if part]
    assert joined([(CODEC, encode(part)) for part in parts]) == encode(commits)


def test_more_streams_than_are_packed_at_a_time_keep_their_order() -> None:
    def block(number: int, n: int) -> list[Commit]:
        raw = np.full(n, float(number))
        return [Commit(number, (SampleBatch("d", 1, "m", 0, np.arange(n), raw, np.zeros(n, dtype=np.uint8)),))]

    blocks = [block(number, 1 + number % 2) for number in range(2 * TOGETHER + 3)]
    read = decode_each([(CODEC, payload) for payload in encode_each(blocks)])
    assert [commit.batches[0].raw[-1] for (commit,) in read] == list(range(len(blocks)))


def test_an_hour_of_counts_at_a_steady_pace_takes_less_than_two_bytes_a_sample() -> None:
    rng = np.random.default_rng(7)
    n = 36_000
    counts = np.round(400_000 - 5.0 * np.arange(n) + rng.normal(0, 10, n))
    one = SampleBatch("d", 1, "mass", 0, np.arange(n) * 100_000_000, counts, np.zeros(n, dtype=np.uint8))
    assert len(encode([Commit(1, (one,))])) < 2 * n


def test_an_uneven_pace_on_a_coarse_step_takes_no_more_than_its_unevenness() -> None:
    """The entropy of a normal spread of 100 steps is log2(100 sqrt(2 pi e)) = 8.7 bits, that of differences 9.2."""
    rng = np.random.default_rng(8)
    n = 36_000
    t_ns = 32_000 * (1_764_072_000 * 31_250 + 3125 * np.arange(n) + np.rint(rng.normal(0.0, 100.0, n)).astype(np.int64))
    one = SampleBatch("d", 1, "mass", 0, t_ns, np.zeros(n), np.zeros(n, dtype=np.uint8))
    assert 9.2 / 8 < len(encode([Commit(1, (one,))])) / n < 1.35


def test_the_same_commits_give_the_same_bytes() -> None:
    one = SampleBatch("d", 1, "m", 0, np.arange(5), np.array([0.1, 2, 3, -0.0, np.nan]), np.zeros(5, dtype=np.uint8))
    assert encode([Commit(1, (one,))]) == encode([Commit(1, (one,))])


GOOD = encode([Commit(1, (SampleBatch("d", 1, "m", 0, np.arange(9), np.arange(9.0), np.zeros(9, dtype=np.uint8)),))])


@pytest.mark.parametrize(
    "payload",
    [b"", GOOD[:-3], GOOD[:20] + b"\x00" + GOOD[21:], zlib.compress(zlib.decompress(GOOD)[:-4]), zlib.compress(b"x")],
    ids=["empty", "cut", "flipped", "short inside", "nonsense"],
)
def test_damage_is_told_and_not_handed_on(payload: bytes) -> None:
    with pytest.raises(StoreDamagedError, match="backup"):
        decode(payload)
    with pytest.raises(StoreDamagedError, match="backup"):
        decode_each([(CODEC, GOOD), (CODEC, payload)])
    with pytest.raises(StoreDamagedError, match="backup"):
        joined([(CODEC, GOOD), (CODEC, payload)])


OF_CODE_1 = (
    "c$|x2U|@)jjyBPWHqbGQjn#=Z1F~X4jA*5l)G{R<b8{V~+{EHyB^{+qC7`IGfsP4K*3eAH2&@dDsywkIwFsyz4W!H%WEv1KFgP?g"
    "Ff=53XY$&a?e|Hy5HUN?@So?4@*Rf%4FBy8g2?I?5GnB-M1K9t{j2wz$N%jf|Nk@o|Ht?rD25j?FfuT(us4{QDce;`Fo1xAi30-w"
    ">YGr#"
)
"""Written by the version that wrote code 1."""


def test_a_block_of_code_1_is_read_as_it_was_meant() -> None:
    payload = base64.b85decode(OF_CODE_1)
    first, second = decode(payload, codec=1)
    assert joined([(1, payload)]) == encode([first, second])
    assert (first.id, second.id) == (4, 6)
    start_ns = 1_764_072_000_000_000_000
    mass, water, more = *first.batches, *second.batches
    assert [(b.device, b.boot, b.channel, b.first_seq) for b in (mass, water, more)] == [
        ("dev", 77, "mass", 10),
        ("dev", 77, "water", 3),
        ("dev", 77, "mass", 16),
    ]
    assert ((mass.t_ns - start_ns) // 1_000_000).tolist() == [0, 100, 205, 300]
    assert (mass.raw.tolist(), mass.flags.tolist()) == ([84213.0, 84210.0, -3.0, 84215.0], [0, 0, 1, 0])
    assert (water.t_ns.tolist(), water.raw.tolist()) == ([start_ns + 7], [20.25])
    assert ((more.t_ns - start_ns) // 1_000_000).tolist() == [600, 700]
    assert (more.raw.tolist(), more.flags.tolist()) == ([84100.0, 84090.0], [0, 4])


def test_numbers_at_the_ends_of_their_range_come_back() -> None:
    t_ns = np.array([-(2**62), 0, 2**62])
    raw = np.array([2.0**52 - 1, 1 - 2.0**52, 0.0])
    one = SampleBatch("d", 2**40, "m", 2**50, t_ns, raw, np.zeros(3, dtype=np.uint8))
    (commit,) = decode(encode([Commit(2**60, (one,))]))
    assert commit.id == 2**60
    assert same(commit.batches[0], one)


def test_a_code_of_the_future_is_refused() -> None:
    with pytest.raises(StoreDamagedError, match="newer"):
        decode(GOOD, codec=CODEC + 1)
