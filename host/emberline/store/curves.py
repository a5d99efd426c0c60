"""From stored samples to calibrated curves."""

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from emberline.bench.channels import Channel, Role
from emberline.bench.samples import FLAG_FAULT, Curve, SampleBatch
from emberline.trials import trial


def calibrated(
    batches: Iterable[SampleBatch], channels: Mapping[Role, Channel]
) -> dict[Role, tuple[NDArray[np.int64], NDArray[np.float64]]]:
    """Return the times (UTC nanoseconds) and values of each channel, in order of time; NaN for a fault.

    Samples that share a time lie in order of value, so that the order of arrival plays no part.

    Args:
        batches: Samples of a trial; those of other channels are passed over, but for cold junctions.
        channels: The channels by role.

    Raises:
        CalibrationError: A channel's converter needs its cold junction, and there is none.
    """
    by_name: dict[str, list[SampleBatch]] = {}
    for batch in batches:
        by_name.setdefault(batch.channel, []).append(batch)
    found = {}
    for role, channel in channels.items():
        if channel.name in by_name:
            t_ns, raw = _joined(by_name[channel.name])
            cold = by_name.get(channel.name + trial.COLD_JUNCTION_SUFFIX)
            value = trial.calibrated(channel, t_ns / 1e9, raw, None if cold is None else _cold_junction(cold))
            # Samples nearly always come in order, and sorting an hour of them is dear.
            order = slice(None) if _rises(t_ns) else np.lexsort((value, t_ns))
            found[role] = (t_ns[order], value[order])
    return found


def curves_of(batches: Iterable[SampleBatch], channels: Mapping[Role, Channel], start_ns: int) -> dict[Role, Curve]:
    """Return each channel's curve, the same whatever the order and size of the batches.

    Samples of one channel that share a time become one, their mean.

    Args:
        batches: Samples of a trial, as for `calibrated`.
        channels: The channels by role.
        start_ns: UTC nanoseconds of `t_s = 0`.

    Raises:
        CalibrationError: A channel's converter needs its cold junction, and there is none.
    """
    return {role: _curve(t_ns, value, start_ns) for role, (t_ns, value) in calibrated(batches, channels).items()}


def _joined(batches: list[SampleBatch]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return times and raw values of batches, one after the other; NaN for a fault."""
    raw = np.concatenate([np.where(batch.flags & FLAG_FAULT, np.nan, batch.raw) for batch in batches])
    return np.concatenate([batch.t_ns for batch in batches]), raw


def _cold_junction(batches: list[SampleBatch]) -> Curve:
    """Return the curve of a cold junction, the same whatever the order of the batches."""
    t_ns, value = _joined(batches)
    order = np.lexsort((value, t_ns))
    return Curve(t_ns[order] / 1e9, value[order])


def _rises(t_ns: NDArray[np.int64]) -> bool:
    """Tell whether every sample is later than the one before."""
    return bool(np.all(t_ns[1:] > t_ns[:-1]))


def _curve(t_ns: NDArray[np.int64], value: NDArray[np.float64], start_ns: int) -> Curve:
    if _rises(t_ns):
        return Curve((t_ns - start_ns) / 1e9, value)
    time, where = np.unique(t_ns, return_inverse=True)
    known = np.isfinite(value)
    count = np.bincount(where, weights=known)
    total = np.bincount(where, weights=np.where(known, value, 0.0))
    mean = np.full(len(time), np.nan)
    np.divide(total, count, out=mean, where=count > 0)
    return Curve((time - start_ns) / 1e9, mean)
