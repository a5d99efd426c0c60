"""The readings of one commit in their units, for those who watch."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emberline.bench.bench_file import Bench
from emberline.bench.channels import Channel
from emberline.bench.errors import CalibrationError
from emberline.bench.samples import FLAG_FAULT, Curve, SampleBatch
from emberline.trials.trial import COLD_JUNCTION_SUFFIX, calibrated


@dataclass(frozen=True, slots=True)
class Readings:
    """Readings of one channel, calibrated.

    Attributes:
        channel: The channel.
        t_ns: (n,) times, UTC nanoseconds.
        value: (n,) in its unit; NaN for a fault, and where a calibration needs what did not come.
    """

    channel: Channel
    t_ns: NDArray[np.int64]
    value: NDArray[np.float64]


def readings_of(bench: Bench, batches: Sequence[SampleBatch]) -> Iterator[Readings]:
    """Yield the readings of each batch of a channel that the bench has; a cold junction is taken from among them."""
    for batch in batches:
        channel = bench.by_name(batch.channel)
        if channel is None or not len(batch):
            continue
        raw = np.where(batch.flags & FLAG_FAULT, np.nan, batch.raw)
        cold = [one for one in batches if one.channel == channel.name + COLD_JUNCTION_SUFFIX and len(one)]
        try:
            value = calibrated(channel, batch.t_ns / 1e9, raw, _curve(cold))
        except CalibrationError:
            value = np.full(len(raw), np.nan)
        yield Readings(channel, batch.t_ns, value)


def _curve(batches: Sequence[SampleBatch]) -> Curve | None:
    if not batches:
        return None
    t_s = np.concatenate([batch.t_ns for batch in batches]) / 1e9
    value = np.concatenate([np.where(batch.flags & FLAG_FAULT, np.nan, batch.raw) for batch in batches])
    order = np.argsort(t_s, kind="stable")
    return Curve(t_s[order], value[order])
