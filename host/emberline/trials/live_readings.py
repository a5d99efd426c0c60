"""The readings of one commit in their units, for those who watch."""

from collections.abc import Iterable, Iterator, Sequence
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


class ColdJunctions:
    """What is known of cold junctions from one commit to the next: they are read less often than thermocouples."""

    def __init__(self) -> None:
        """Begin with none."""
        self._curves: dict[str, Curve] = {}

    def take(self, batches: Iterable[SampleBatch]) -> None:
        """Take in the cold junctions among a commit's batches; of earlier ones only the newest reading is kept."""
        came: dict[str, list[SampleBatch]] = {}
        for batch in batches:
            if batch.channel.endswith(COLD_JUNCTION_SUFFIX):
                came.setdefault(batch.channel, []).append(batch)
        for name, own in came.items():
            t_s = np.concatenate([batch.t_ns for batch in own]) / 1e9
            value = np.concatenate([np.where(batch.flags & FLAG_FAULT, np.nan, batch.raw) for batch in own])
            before = self._curves.get(name)
            if before is not None:
                t_s, value = np.append(before.t_s[-1], t_s), np.append(before.value[-1], value)
            order = np.argsort(t_s, kind="stable")
            order = order[np.isfinite(value[order])]
            if len(order):
                self._curves[name] = Curve(t_s[order], value[order])

    def copy(self) -> "ColdJunctions":
        """Return one that goes on from here by itself."""
        other = ColdJunctions()
        other._curves = dict(self._curves)
        return other

    def of(self, channel: Channel) -> Curve | None:
        """Return the curve of a thermocouple's cold junction; None before its first reading."""
        return self._curves.get(channel.name + COLD_JUNCTION_SUFFIX)


def readings_of(
    bench: Bench, batches: Sequence[SampleBatch], junctions: ColdJunctions | None = None
) -> Iterator[Readings]:
    """Yield the readings of each batch of a channel that the bench has.

    Args:
        bench: Its channels and calibrations.
        batches: The batches of a commit; cold junctions are taken from among them.
        junctions: What earlier commits told of cold junctions, where it is kept.
    """
    junctions = ColdJunctions() if junctions is None else junctions
    junctions.take(batches)
    for batch in batches:
        channel = bench.by_name(batch.channel)
        if channel is None or not len(batch):
            continue
        # Few batches hold a fault, and a thousand benches bring four thousand batches a second.
        raw = np.where(batch.flags & FLAG_FAULT, np.nan, batch.raw) if batch.flags.any() else batch.raw
        try:
            value = calibrated(channel, batch.t_ns / 1e9, raw, junctions.of(channel))
        except CalibrationError:
            value = np.full(len(raw), np.nan)
        yield Readings(channel, batch.t_ns, value)
