"""Samples made up for the tests of the store."""

import numpy as np

from emberline.bench.samples import SampleBatch
from emberline.store.records import Gap

NOON_NS = 1_764_072_000_000_000_000
"""2025-11-25T12:00:00Z, when the tests' clock stands still."""

SECOND_NS = 1_000_000_000
TENTH_NS = SECOND_NS // 10


def batch(first_seq: int, n: int, *, channel: str = "mass", device: str = "dev", boot: int = 1) -> SampleBatch:
    """Samples at 10 Hz whose number fixes their time and value, so that repeats are true repeats."""
    seq = np.arange(first_seq, first_seq + n, dtype=np.int64)
    return SampleBatch(
        device,
        boot,
        channel,
        first_seq,
        NOON_NS + seq * TENTH_NS,
        1000.0 - 0.25 * seq.astype(np.float64),
        np.zeros(n, dtype=np.uint8),
    )


def gap(first_seq: int, next_seq: int, *, channel: str = "mass", boot: int = 1, reason: str = "link lost") -> Gap:
    """A loss of samples of the same made-up stream."""
    start, end = NOON_NS + (first_seq - 1) * TENTH_NS, NOON_NS + next_seq * TENTH_NS
    return Gap("dev", boot, channel, first_seq, next_seq, start, end, reason)


def numbers(batches: list[SampleBatch]) -> list[int]:
    """Return the numbers of all samples, in their order."""
    return [seq for one in batches for seq in range(one.first_seq, one.next_seq)]
