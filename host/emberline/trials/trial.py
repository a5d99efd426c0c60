"""One trial's samples while it runs: calibrated as they come in, on a grid that grows with them.

A second enters the grid once, and only the newest seconds' samples are kept beside it. A few samples at a time are
worked on as plain numbers: calls of numpy would take most of the time that a bench costs.
"""

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from math import floor, inf, isfinite, nan

import numpy as np
from numpy.typing import NDArray

from emberline.bench.calibration import Linear, ThermocoupleCode
from emberline.bench.channels import Channel, Role
from emberline.bench.samples import FLAG_FAULT, Curve, SampleBatch
from emberline.curves.grid import Column, Grid, second_of
from emberline.curves.warmth import WEIGHING, corrected, warming_k

COLD_JUNCTION_SUFFIX = ".cold_junction"
"""Ending of the stored name of a thermocouple's cold junction, whose samples are degrees."""
DECIDING = (Role.MASS, Role.POT_MASS, Role.WATER, Role.FLAME)
"""Roles whose readings a second must have before events are looked for in it."""
KEPT_S = 10
"""Seconds before the newest of the grid whose samples are kept."""
LEAST_ROOM_S = 1_280
"""Seconds for which a record has room from its beginning: for as long as a fire is looked out for. Where it is full,
half as much is added."""
LATEST_S = 120.0
"""A channel that is this far behind the others is not waited for any more. After a break a device sends what it kept
one stream after the other; a broken probe still sends, with a fault."""

Array = NDArray[np.float64]


class NewestSamples:
    """The newest samples of each channel, in the order of their times."""

    def __init__(self, channels: Mapping[Role, Channel], start_ns: int) -> None:
        """Begin a trial without samples.

        Args:
            channels: The bench's channels by role, their calibrations completed; samples of others are left out.
            start_ns: UTC nanoseconds of `t_s = 0`.
        """
        self.start_ns = start_ns
        self._channels = dict(channels)
        self._roles = {channel.name: role for role, channel in channels.items()}
        self._streams: dict[str, _Stream] = {}

    def add(self, batches: Iterable[SampleBatch]) -> None:
        """Take in samples."""
        for batch in batches:
            name = batch.channel
            if not len(batch) or name.removesuffix(COLD_JUNCTION_SUFFIX) not in self._roles:
                continue
            if name not in self._streams:
                role = self._roles.get(name)
                self._streams[name] = _Stream(None if role is None else self._channels[role])
            self._streams[name].add(batch, self.start_ns)

    def forget(self, before_s: float) -> None:
        """Let go of what lies before a time."""
        for name, stream in self._streams.items():
            stream.forget(before_s, keep_one=name not in self._roles)

    def newest_s(self) -> dict[Role, float]:
        """Return the time of the last sample of each channel that has any."""
        return {
            role: self._streams[channel.name].last_s
            for role, channel in self._channels.items()
            if channel.name in self._streams
        }

    def beyond(self, role: Role, since_s: float, until_s: float) -> float:
        """Return the share of a role's samples within a time that say that its converter is at its end."""
        stream = self._streams.get(self._channels[role].name)
        return 0.0 if stream is None else stream.beyond(since_s, until_s)

    def known(self, role: Role, since_s: float, until_s: float) -> tuple[list[float], list[float]]:
        """Return the times and calibrated values of a role's samples within a time, those that are known.

        Raises:
            CalibrationError: Its converter needs its cold junction, and there is none.
        """
        channel = self._channels[role]
        if channel.name not in self._streams:
            return [], []
        t_s, raw = self._streams[channel.name].between(since_s, until_s)
        cold = self._streams.get(channel.name + COLD_JUNCTION_SUFFIX)
        junction = None if cold is None else Curve(*map(np.array, cold.between()))
        values: list[float] = calibrated(channel, np.array(t_s), np.array(raw), junction).tolist()
        if not all(map(isfinite, values)):
            t_s = [one for one, value in zip(t_s, values, strict=True) if isfinite(value)]
            values = [value for value in values if isfinite(value)]
        return t_s, values


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
    if good.all():
        return channel.calibration.apply(raw, cold_c)
    value = np.full(len(raw), np.nan)
    value[good] = channel.calibration.apply(raw[good], None if cold_c is None else cold_c[good])
    return value


class GrowingGrid:
    """The 1 Hz grid of a trial while it runs; a second enters it once, when every channel has gone past it."""

    def __init__(self, channels: Mapping[Role, Channel], start_ns: int) -> None:
        """Begin a trial without samples; the arguments are those of `NewestSamples`."""
        self.samples = NewestSamples(channels, start_ns)
        self.n = 0
        self._deciding = [role for role in channels if role in DECIDING] or list(channels)
        self._channels = channels
        self._columns = {role: _GrownColumn() for role in channels}

    def add(self, batches: Sequence[SampleBatch]) -> int:
        """Take in one commit's samples and return how many seconds are complete.

        Which seconds are complete follows from the samples and their order alone, so that a replay of the commits
        repeats it.
        """
        self.samples.forget(self.n - KEPT_S)
        self.samples.add(batches)
        complete = self._complete()
        if complete > self.n:
            for role, column in self._columns.items():
                column.grow(complete)
                self._fill(role, column, complete)
            self._take_off_warmth(complete)
            self.n = complete
        return self.n

    def grid(self, n: int | None = None) -> Grid:
        """Return the first `n` seconds, or all; a channel without any sample so far is left out."""
        n = self.n if n is None else n
        heard = self.samples.newest_s()
        return Grid(n, {role: column.upto(n) for role, column in self._columns.items() if role in heard})

    def _complete(self) -> int:
        newest = self.samples.newest_s()
        ends = [newest.get(role, 0.0) for role in self._deciding]
        leading = max(ends, default=0.0)
        waited_for = [end for end in ends if end > leading - LATEST_S]
        return max(self.n, floor(min(waited_for, default=0.0)))

    def _fill(self, role: Role, column: "_GrownColumn", complete: int) -> None:
        """Enter the seconds up to one into a column."""
        t_s, values = self.samples.known(role, float(self.n), float(complete))
        low = 0
        for second in range(self.n, complete):
            high = bisect_left(t_s, second + 1, low)
            if high > low:
                column.enter(second, t_s[low:high], values[low:high])
            low = high

    def _take_off_warmth(self, complete: int) -> None:
        """Take the drift with the cell's temperature off the seconds up to one."""
        cell_c = self._columns.get(Role.CELL_TEMPERATURE)
        if cell_c is None:
            return
        warming = warming_k(cell_c.upto(complete))[self.n :]
        for role in WEIGHING:
            if role in self._columns:
                fresh = self._columns[role].upto(complete).between(self.n, complete)
                fresh.value[:] = corrected(fresh, self._channels[role], warming).value


class _Stream:
    """The newest samples of one channel, in the order of their times; those that share one as they came."""

    def __init__(self, channel: Channel | None) -> None:
        """Begin without samples; a cold junction has no channel."""
        line = None if channel is None else channel.calibration
        self._end = line.saturated_counts if isinstance(line, Linear) else inf
        self._t_s: list[float] = []
        self._raw: list[float] = []
        self.last_s = 0.0

    def add(self, batch: SampleBatch, start_ns: int) -> None:
        """Take in a batch, which is not empty."""
        t_s: list[float] = ((batch.t_ns - start_ns) / 1e9).tolist()
        raw: list[float] = batch.raw.tolist()
        if batch.flags.any():
            raw = [nan if flags & FLAG_FAULT else one for one, flags in zip(raw, batch.flags.tolist(), strict=True)]
        late = bool(self._t_s) and t_s[0] < self._t_s[-1]
        self._t_s += t_s
        self._raw += raw
        self.last_s = t_s[-1]
        if late:
            order = sorted(range(len(self._t_s)), key=self._t_s.__getitem__)
            self._t_s = [self._t_s[i] for i in order]
            self._raw = [self._raw[i] for i in order]

    def forget(self, before_s: float, *, keep_one: bool) -> None:
        """Let go of what lies before a time; where asked for, all but the last reading before it."""
        low = bisect_left(self._t_s, before_s)
        if keep_one:
            low = max((i for i in range(low) if isfinite(self._raw[i])), default=0)
        del self._t_s[:low], self._raw[:low]

    def between(self, since_s: float = -inf, until_s: float = inf) -> tuple[list[float], list[float]]:
        """Return times and raw values within a time."""
        low, high = bisect_left(self._t_s, since_s), bisect_left(self._t_s, until_s)
        return self._t_s[low:high], self._raw[low:high]

    def beyond(self, since_s: float, until_s: float) -> float:
        """Return the share of the samples within a time at which the converter is at its end."""
        low, high = bisect_left(self._t_s, since_s), bisect_left(self._t_s, until_s)
        if self._end == inf or low == high:
            return 0.0
        raw = self._raw[low:high]
        if -self._end < min(raw) and max(raw) < self._end:
            return 0.0
        return sum(abs(one) >= self._end for one in raw) / (high - low)


class _GrownColumn:
    """A column that grows at its end."""

    def __init__(self) -> None:
        self._room = _empty_seconds(0, LEAST_ROOM_S)

    def grow(self, n: int) -> None:
        """Make room for `n` seconds, the new ones empty."""
        have = len(self._room)
        if n > have:
            room, more = self._room, _empty_seconds(have, max(have + have // 2, n))
            self._room = Column(
                np.append(room.t_s, more.t_s),
                np.append(room.value, more.value),
                np.append(room.spread, more.spread),
                np.append(room.count, more.count),
            )

    def enter(self, second: int, t_s: Sequence[float], values: Sequence[float]) -> None:
        """Enter the samples of a second."""
        room = self._room
        room.t_s[second], room.value[second], room.spread[second] = second_of(t_s, values)
        room.count[second] = len(values)

    def upto(self, n: int) -> Column:
        """Return the first `n` seconds, a view."""
        room = self._room
        return Column(room.t_s[:n], room.value[:n], room.spread[:n], room.count[:n])


def _empty_seconds(low: int, high: int) -> Column:
    n = high - low
    return Column(
        np.arange(low, high, dtype=np.float64) + 0.5, np.full(n, nan), np.full(n, nan), np.zeros(n, dtype=np.int64)
    )
