"""Sample batches: readings on their way from a link to the store and the tracker."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FLAG_FAULT = 1
"""Bit of `SampleBatch.flags`: the converter reported a fault (open or shorted lead, saturation)."""
FLAG_ARRIVAL_STAMPED = 2
"""Bit of `SampleBatch.flags`: the time is that of arrival, because the source sent none of its own."""
FLAG_UNCHECKED = 4
"""Bit of `SampleBatch.flags`: read from a line of text without a checksum, so that damage can go unseen."""


@dataclass(frozen=True, slots=True, eq=False)
class SampleBatch:
    """Consecutive samples of one channel of one device, raw as they came.

    `(device, boot, channel, first_seq + i)` names sample `i` for ever: gaps are visible and repeats harmless.

    Attributes:
        device: The device's own id (for an import, the name of the source).
        boot: The device's boot id; samples of different boots are never joined.
        channel: Name of the channel within the bench.
        first_seq: Sequence number of the first sample.
        t_ns: (n,) int64, UTC nanoseconds, not decreasing.
        raw: (n,) float64, counts or codes of the converter, or the physical value where the source calibrates.
        flags: (n,) uint8, bits `FLAG_*`.
    """

    device: str
    boot: int
    channel: str
    first_seq: int
    t_ns: NDArray[np.int64]
    raw: NDArray[np.float64]
    flags: NDArray[np.uint8]

    def __len__(self) -> int:
        return len(self.t_ns)

    @property
    def next_seq(self) -> int:
        """Sequence number that follows the last sample."""
        return self.first_seq + len(self.t_ns)

    def of(self, device: str) -> "SampleBatch":
        """Return the same samples as those of a device by another name."""
        return SampleBatch(device, self.boot, self.channel, self.first_seq, self.t_ns, self.raw, self.flags)


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A calibrated channel of one trial at its own sampling times.

    Attributes:
        t_s: (n,) float64, seconds from the trial's first sample, increasing.
        value: (n,) float64, in the channel's unit; NaN where the converter reported a fault.
    """

    t_s: NDArray[np.float64]
    value: NDArray[np.float64]
