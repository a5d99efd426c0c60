"""One trial's samples while it runs: calibrated as they come in, on a grid that grows with them."""

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from emberline.bench.calibration import Linear, ThermocoupleCode
from emberline.bench.channels import Channel, Role
from emberline.bench.samples import FLAG_FAULT, Curve, SampleBatch
from emberline.curves.grid import Column, Grid, grid_of
from emberline.curves.warmth import WEIGHING, corrected, warming_k

COLD_JUNCTION_SUFFIX = ".cold_junction"
"""Ending of the stored name of a thermocouple's cold junction, whose samples are degrees."""
DECIDING = (Role.MASS, Role.POT_MASS, Role.WATER, Role.FLAME)
"""Roles whose readings a second must have before events are looked for in it."""
NEWEST = 4_096
"""Samples among which the newest seconds are looked for first."""
LATEST_S = 120.0
"""A channel that is this far behind the others is not waited for any more. After a break a device sends what it kept
one stream after the other; a broken probe still sends, with a fault."""

Array = NDArray[np.float64]


class GrowingCurves:
    """Calibrated samples by role, in the order of their times."""

    def __init__(self, channels: Mapping[Role, Channel], start_ns: int) -> None:
        """Begin a trial without samples.

        Args:
            channels: The bench's channels by role, their calibrations completed; samples of others are left out.
            start_ns: UTC nanoseconds of `t_s = 0`.
        """
        self.start_ns = start_ns
        self._channels = dict(channels)
        self._roles = {channel.name: role for role, channel in channels.items()}
        self._t_s: dict[str, _Grown] = {}
        self._value: dict[str, _Grown] = {}

    def add(self, batches: Iterable[SampleBatch]) -> None:
        """Take in samples."""
        for batch in batches:
            name = batch.channel
            if not len(batch) or name.removesuffix(COLD_JUNCTION_SUFFIX) not in self._roles:
                continue
            t_s = (batch.t_ns - self.start_ns) / 1e9
            raw = np.where(batch.flags & FLAG_FAULT, np.nan, batch.raw)
            self._t_s.setdefault(name, _Grown()).extend(t_s)
            self._value.setdefault(name, _Grown()).extend(raw)

    def newest_s(self) -> dict[Role, float]:
        """Return the time of the newest sample of each channel that has any."""
        return {
            role: float(self._t_s[channel.name].values[-1])
            for role, channel in self._channels.items()
            if channel.name in self._t_s
        }

    def beyond(self, role: Role, since_s: float, until_s: float) -> float:
        """Return the share of a role's samples within a time that say that its converter is at its end."""
        channel = self._channels[role]
        calibration = channel.calibration
        if channel.name not in self._t_s or not isinstance(calibration, Linear):
            return 0.0
        low = self._since(channel.name, since_s)
        t_s, raw = self._t_s[channel.name].values[low:], self._value[channel.name].values[low:]
        raw = raw[(t_s >= since_s) & (t_s < until_s)]
        return float(np.mean(np.abs(raw) >= calibration.saturated_counts)) if len(raw) else 0.0

    def curve(self, role: Role, since_s: float | None = None) -> Curve | None:
        """Return a role's curve, or its part from a time on; None where it has no samples."""
        channel = self._channels[role]
        if channel.name not in self._t_s:
            return None
        t_s, raw = self._t_s[channel.name].values, self._value[channel.name].values
        if since_s is not None:
            low = self._since(channel.name, since_s)
            keep = np.flatnonzero(t_s[low:] >= since_s) + low
            t_s, raw = t_s[keep], raw[keep]
        if np.any(t_s[1:] < t_s[:-1]):
            order = np.argsort(t_s, kind="stable")
            t_s, raw = t_s[order], raw[order]
        return Curve(t_s, calibrated(channel, t_s, raw, self._cold_junction(channel)))

    def _since(self, name: str, since_s: float) -> int:
        """Return from which sample on those since a time are to be looked for: they come nearly in order."""
        t_s = self._t_s[name].values
        low = max(0, len(t_s) - NEWEST)
        return 0 if low and t_s[low] > since_s else low

    def _cold_junction(self, channel: Channel) -> Curve | None:
        name = channel.name + COLD_JUNCTION_SUFFIX
        if name not in self._t_s:
            return None
        t_s, value = self._t_s[name].values, self._value[name].values
        order = np.argsort(t_s, kind="stable")
        return Curve(t_s[order], value[order])


def calibrated(channel: Channel, t_s: Array, raw: Array, cold_junction: Curve | None = None) -> Array:
    """Return a channel's values in its unit; NaN stays NaN.

    Raises:
        CalibrationError: The converter needs its cold junction, and there is none.
    """
    cold_c = None
    if isinstance(channel.calibration, ThermocoupleCode) and cold_junction is not None:
        known = np.isfinite(cold_junction.value)
        if known.any():
            cold_c = np.interp(t_s, cold_junction.t_s[known], cold_junction.value[known])
    good = np.isfinite(raw)
    value = np.full(len(raw), np.nan)
    value[good] = channel.calibration.apply(raw[good], None if cold_c is None else cold_c[good])
    return value


class GrowingGrid:
    """The 1 Hz grid of a trial while it runs; a second enters it once, when every channel has gone past it."""

    def __init__(self, channels: Mapping[Role, Channel], start_ns: int) -> None:
        """Begin a trial without samples; the arguments are those of `GrowingCurves`."""
        self.samples = GrowingCurves(channels, start_ns)
        self.n = 0
        self._deciding = [role for role in channels if role in DECIDING] or list(channels)
        self._channels = channels
        self._columns = {role: _GrownColumn() for role in channels}

    def add(self, batches: Sequence[SampleBatch]) -> int:
        """Take in one commit's samples and return how many seconds are complete.

        Which seconds are complete follows from the samples and their order alone, so that a replay of the commits
        repeats it.
        """
        self.samples.add(batches)
        complete = self._complete()
        if complete > self.n:
            fresh = {
                role: self.samples.curve(role, float(self.n)) or Curve(np.zeros(0), np.zeros(0))
                for role in self._columns
            }
            columns = dict(grid_of(fresh, complete, since=self.n).columns)
            if Role.CELL_TEMPERATURE in columns:
                self._columns[Role.CELL_TEMPERATURE].extend(columns.pop(Role.CELL_TEMPERATURE))
                warming = warming_k(self._columns[Role.CELL_TEMPERATURE].upto(complete))[self.n :]
                columns = {
                    role: corrected(column, self._channels[role], warming) if role in WEIGHING else column
                    for role, column in columns.items()
                }
            for role, column in columns.items():
                self._columns[role].extend(column)
            self.n = complete
        return self.n

    def grid(self, n: int | None = None) -> Grid:
        """Return the first `n` seconds, or all; a channel without any sample so far is left out."""
        n = self.n if n is None else n
        heard = self.samples.newest_s()
        columns = {role: column.upto(n) for role, column in self._columns.items() if role in heard}
        return Grid(n, columns)

    def _complete(self) -> int:
        newest = self.samples.newest_s()
        ends = [newest.get(role, 0.0) for role in self._deciding]
        leading = max(ends, default=0.0)
        waited_for = [end for end in ends if end > leading - LATEST_S]
        return max(self.n, int(np.floor(min(waited_for, default=0.0))))


class _Grown:
    """A float array that grows at its end."""

    def __init__(self) -> None:
        self._room: Array = np.empty(256)
        self._n = 0

    @property
    def values(self) -> Array:
        return self._room[: self._n]

    def extend(self, more: Array) -> None:
        n = self._n + len(more)
        if n > len(self._room):
            room = np.empty(max(2 * len(self._room), n))
            room[: self._n] = self._room[: self._n]
            self._room = room
        self._room[self._n : n] = more
        self._n = n


class _GrownColumn:
    """A column that grows at its end."""

    def __init__(self) -> None:
        self._parts = {name: _Grown() for name in ("t_s", "value", "spread", "count")}

    def extend(self, column: Column) -> None:
        for name, part in self._parts.items():
            part.extend(np.asarray(getattr(column, name), dtype=np.float64))

    def upto(self, n: int) -> Column:
        t_s, value, spread, count = (part.values[:n] for part in self._parts.values())
        return Column(t_s, value, spread, count.astype(np.int64))
