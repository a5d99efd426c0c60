"""Changes of the load: how large they are, when they came, and which seconds they spoil.

Where the load was disturbed is for `disturbances` to find; what a disturbance left on the cell is told by `step_sizes`.
What left nothing, or nothing that stands out from its uncertainty, spoils its seconds and is no load.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, correlated_values, ufloat

from emberline.curves.disturbances import LEAST_NOISE_G, Disturbances, Span, find_disturbances
from emberline.curves.disturbances import MIN_STEP_G as MIN_STEP_G
from emberline.curves.grid import Column
from emberline.curves.load_noise import LoadNoise, noise_around
from emberline.curves.pushes import LARGE_G, SMALL_G, let_go, strokes
from emberline.curves.robust import without_spikes
from emberline.curves.step_sizes import Handling, Sizes, fit_sizes
from emberline.curves.stuck_codes import without_stuck

Array = NDArray[np.float64]

CERTAIN = 6.0
"""Smallest size over its uncertainty that a disturbance must have to have left a load."""
SETTLED_S = 8
"""Seconds after a disturbance before a live run trusts its size."""
LEAST_U_G = 1e-3
"""Least standard uncertainty of a step's size."""
UNKNOWN_U_G = 1e4
"""Standard uncertainty given to a step with no calm curve on one side."""
_LEAST_READINGS = 8
_REACH = 60  # readings on each side that count for a size
_BESIDE = 10  # readings on each side that tell the pace at which a load was moved
_NOISE_REACH_S = 300
_TOGETHER_S = 25
_LONGEST_FIT_S = 100
_UNDONE_S = 20
_GUST_S = 8
_LONG_GUSTS_S = (16, 32)  # and where the cell scatters more than before so many
_GUSTY = 2.0
_CHANGED = 2.0  # standard uncertainties by which a size may change with the seconds that tell it
_FUEL_G = (SMALL_G, 500.0)  # what is added and weighs as much is most likely fuel, which the fire must first heat
_FUEL_STIRS, _STIRS = 0.8, 0.3  # change of the pace to reckon with, as a share of it


@dataclass(frozen=True, slots=True)
class MassStep:
    """A change of load, or a disturbance that left none.

    Attributes:
        start_s: First disturbed second.
        end_s: First calm second after it.
        size_g: Load after less load before, net of what burnt meanwhile; positive for what was added. Its uncertainty
            is that of the curve, without the cell's span; steps close together share it. Zero where no load was left.
        excursion_g: Largest distance from the level before or after, whichever is nearer, during the disturbance,
            and at least the size.
        moved_s: When half of the load had moved.
        scatter_g: Standard deviation of the curve's scatter in the minutes around, gusts among it.
    """

    start_s: int
    end_s: int
    size_g: UFloat
    excursion_g: float
    moved_s: UFloat
    scatter_g: float = 0.0

    @property
    def t_s(self) -> float:
        """The moment from which the new load is fully on the cell."""
        return float(self.end_s)

    @property
    def sized(self) -> bool:
        """Whether its size is known at all."""
        return bool(self.size_g.std_dev < UNKNOWN_U_G)

    def earlier(self, by_s: int) -> "MassStep":
        """Return the step on a record that begins later by so many seconds."""
        start_s, end_s = max(self.start_s - by_s, 0), self.end_s - by_s
        return replace(self, start_s=start_s, end_s=end_s, moved_s=self.moved_s - by_s)


def find_steps(mass: Column) -> tuple[MassStep, ...]:
    """Find every step of the load in a mass curve.

    Args:
        mass: Mass on the 1 Hz grid, g; seconds may be empty.

    Returns:
        The steps in order of time, those of the same handling merged.
    """
    values = _clean(mass)
    if np.isfinite(values).sum() < _LEAST_READINGS:
        return ()
    return _Sizing(mass.t_s, values, mass.spread, find_disturbances(values, mass.spread)).steps()


def masked(mass: Column, steps: tuple[MassStep, ...]) -> Array:
    """Return the mass with the steps taken out and disturbed seconds as NaN: what burning and boiling took, (n,)."""
    values = _clean(mass).copy()
    for step in steps:
        values[step.end_s :] -= step.size_g.nominal_value
        values[step.start_s : step.end_s] = np.nan
    return values


def _clean(mass: Column) -> Array:
    """Return the mass without spikes and without what a stuck converter said."""
    return without_spikes(without_stuck(mass), floor=LEAST_NOISE_G)


class _Sizing:
    """Sizes the disturbances of a curve.

    Args:
        t_s: (n,) times of the seconds' readings.
        values: (n,) mass without spikes, g.
        spread: (n,) scatter within each second, NaN where not known.
        disturbances: Where it was disturbed.
    """

    def __init__(self, t_s: Array, values: Array, spread: Array, disturbances: Disturbances) -> None:
        self._t_s, self._values, self._spread, self._found = t_s, values, spread, disturbances
        self._spacing = disturbances.spacing

    def steps(self) -> tuple[MassStep, ...]:
        """Size every disturbance, those close together at once."""
        groups = _groups(self._found.spans, self._spacing)
        read = np.flatnonzero(np.isfinite(self._values))
        steps: list[MassStep] = []
        for index, group in enumerate(groups):
            # Calm curve up to the neighbours counts, and no further.
            first, last = np.searchsorted(read, [group[0][0], group[-1][1]])
            low = int(read[max(0, first - _REACH)]) if first > 0 else 0
            high = int(read[min(last + _REACH, len(read)) - 1]) + 1
            low = max(low, groups[index - 1][-1][1] if index > 0 else 0)
            high = min(high, groups[index + 1][0][0] if index + 1 < len(groups) else len(self._values))
            steps += self._steps(group, low, high)
        return tuple(steps)

    def _steps(self, group: list[Span], low: int, high: int) -> list[MassStep]:
        """Size the disturbances of a group within the calm curve from `low` to `high`."""
        reach = _NOISE_REACH_S * self._spacing
        noise = noise_around(
            self._found.level_g[max(0, group[0][0] - reach) : group[-1][1] + reach],
            self._spacing,
            self._found.least_noise_g,
        )
        piece = self._values[low:high].copy()
        for start, end in group:
            piece[start - low : end - low] = np.nan
        known = {span: self._moved(span, piece, low) for span in group}
        sizes: dict[Span, UFloat] = {}

        def sized(handlings: list[Handling]) -> Sizes:
            return fit_sizes(piece, handlings, self._spacing, noise, self._found.code_g)

        loaded = list(group)
        while loaded:
            handlings = [self._handling(span, known[span].moved_s, piece, low) for span in loaded]
            fit = sized(handlings)
            u_g = np.maximum(fit.u_g, LEAST_U_G)
            certainty = np.where(np.isfinite(fit.size_g), np.abs(fit.size_g) / u_g, np.inf)
            unloaded = certainty < max(CERTAIN / 3.0, min(CERTAIN, certainty.min() * (1.0 + 1e-9)))
            if not unloaded.any():
                shaken = len(loaded) < len(group)
                unloaded = np.array(
                    [self._fleeting(piece, low, handlings, fit, i, noise, shaken=shaken) for i in range(len(loaded))]
                ) | strokes(handlings, fit, sized, _UNDONE_S * self._spacing)
            if unloaded.any():
                # What leaves no load is no jump of the curve; without it the others are sized anew.
                loaded = [span for span, gone in zip(loaded, unloaded, strict=True) if not gone]
                continue
            undone = _undone(loaded, fit, certainty, _UNDONE_S * self._spacing)
            if undone is not None:
                gust = (loaded[undone][0], loaded[undone + 1][1])
            elif let_go(group[0][0] - low, group[-1][1] - low, fit, sized):
                gust = (group[0][0], group[-1][1])
            else:
                sizes = dict(zip(loaded, _uncertain(fit.size_g, fit.covariance_g2), strict=True))
                break
            # What lies between a gust and its end is spoilt too.
            piece[gust[0] - low : gust[1] - low] = np.nan
            known = {span: step for span, step in known.items() if not gust[0] <= span[0] < gust[1]}
            known[gust] = self._moved(gust, piece, low)
            loaded = [span for span in loaded if not gust[0] <= span[0] < gust[1]]
        steps = []
        for span, disturbed in sorted(known.items()):
            step = replace(disturbed, scatter_g=noise.total_g)
            if span in sizes:
                size_g = sizes[span]
                step = replace(step, size_g=size_g, excursion_g=max(step.excursion_g, abs(size_g.nominal_value)))
            steps.append(step)
        return steps

    def _handling(self, span: Span, moved_s: UFloat, piece: Array, low: int) -> Handling:
        """Return a handling of the curve's piece from `low`, whose load moved about then."""
        before, after = self._levels(span, piece, low)
        within_s = max(1.0, 2.0 * moved_s.std_dev)
        moving_s = (
            max(float(span[0] - 1), moved_s.nominal_value - within_s),
            min(float(span[1] + 1), moved_s.nominal_value + within_s),
        )
        fuel = _FUEL_G[0] < after - before < _FUEL_G[1]
        return Handling(*span, moving_s, _FUEL_STIRS if fuel else _STIRS).earlier(low)

    def _levels(self, span: Span, piece: Array, low: int) -> tuple[float, float]:
        """Return the levels of the calm readings next to a disturbance, NaN where there are none."""
        calm = np.flatnonzero(np.isfinite(piece)) + low
        sides = calm[calm < span[0]][-3:], calm[calm >= span[1]][:3]
        before, after = (float(np.median(self._values[side])) if len(side) else np.nan for side in sides)
        return before, after

    def _fleeting(
        self,
        piece: Array,
        begins_s: int,
        handlings: list[Handling],
        fit: Sizes,
        index: int,
        noise: LoadNoise,
        *,
        shaken: bool,
    ) -> bool:
        """Tell whether a small load is gone when some seconds more around it are left out: a gust, no load.

        No fire makes a load rise, whatever stirred it: a rise must stay beyond noise alone, unless others left nothing
        nearby and the cell is shaken. Where the readings scatter more since, a gust may press on: then the load must
        stay what it is without those seconds.
        """
        size_g, u_g = float(fit.size_g[index]), float(fit.u_g[index])
        if not abs(size_g) < LARGE_G:
            return False
        stirs = handlings[index].stirs if shaken or size_g < 0.0 else None
        without_g, u_without_g = self._without(piece, handlings, index, _GUST_S, stirs, noise)
        if abs(without_g) < CERTAIN / 2.0 * u_without_g or abs(without_g) < 0.5 * abs(size_g):
            return True
        if not self._gusty_since(handlings[index], begins_s):
            return False
        for wide_s in _LONG_GUSTS_S:
            without_g, u_without_g = self._without(piece, handlings, index, wide_s, stirs, noise)
            doubtful = abs(without_g) < CERTAIN / 2.0 * u_without_g
            if doubtful and abs(without_g - size_g) > _CHANGED * np.sqrt(max(u_without_g**2 - u_g**2, u_g**2)):
                return True
        return False

    def _without(
        self,
        piece: Array,
        handlings: list[Handling],
        index: int,
        wide_s: int,
        stirs: float | None,
        noise: LoadNoise,
    ) -> tuple[float, float]:
        """Return a load's size and its uncertainty when so many seconds more on each side of it are left out."""
        start, end = handlings[index].start_s, handlings[index].end_s
        before = handlings[index - 1].end_s if index > 0 else 0
        after = handlings[index + 1].start_s if index + 1 < len(handlings) else len(piece)
        wide_s = max(wide_s, 2 * self._spacing)
        low, high = max(before, start - wide_s), min(after, end + wide_s)
        others = [*handlings[:index], Handling(low, high, (float(low), float(high)), stirs), *handlings[index + 1 :]]
        again = fit_sizes(piece, others, self._spacing, noise, self._found.code_g)
        return float(again.size_g[index]), float(again.u_g[index])

    def _gusty_since(self, handling: Handling, begins_s: int) -> bool:
        """Tell whether readings scatter more within their second after a handling than they did before it."""
        start, end = handling.start_s + begins_s, handling.end_s + begins_s
        sides = self._spread[max(0, start - _REACH) : start], self._spread[end : end + _LONG_GUSTS_S[-1]]
        before, since = (side[np.isfinite(side)] for side in sides)
        return bool(min(len(before), len(since)) >= _LEAST_READINGS and np.median(since) > _GUSTY * np.median(before))

    def _moved(self, span: Span, piece: Array, low: int) -> MassStep:
        """Describe a disturbance whose size is not known: how far the load went, and when it moved."""
        start, end = span
        before, after = self._levels(span, piece, low)
        calm = np.flatnonzero(np.isfinite(piece)) + low
        earlier, later = calm[calm < start][-1:], calm[calm >= end][:1]
        inside = np.arange(start, end)[np.isfinite(self._values[start:end])]
        away = np.fmin(np.abs(self._values[inside] - before), np.abs(self._values[inside] - after))
        excursion = float(np.max(away, initial=0.0, where=np.isfinite(away)))
        seconds = np.concatenate((earlier, inside, later))
        # What burns meanwhile is no part of the load.
        falling = _pace(self._values, (calm[calm < start][-_BESIDE:], calm[calm >= end][:_BESIDE])) * (seconds - start)
        lost = falling[-1] if len(later) else 0.0
        moved_s = _moved(self._t_s[seconds], self._values[seconds] - falling, before, after - lost, span)
        return MassStep(start, end, ufloat(0.0, LEAST_U_G, "mass_step"), excursion, moved_s)


def _pace(values: Array, sides: tuple[NDArray[np.int64], ...]) -> float:
    """Return the usual pace of the calm readings on both sides of a disturbance, g/s; 0 where there are too few."""
    paces = [np.diff(values[side]) / np.diff(side) for side in sides if len(side) > 2]
    return float(np.median(np.concatenate(paces))) if paces else 0.0


def _groups(spans: list[Span], spacing: int) -> list[list[Span]]:
    """Put together the disturbances that must be sized at once."""
    groups: list[list[Span]] = []
    for span in spans:
        near = bool(groups) and span[0] - groups[-1][-1][1] < _TOGETHER_S * spacing
        if near and span[1] - groups[-1][0][0] < _LONGEST_FIT_S * spacing:
            groups[-1].append(span)
        else:
            groups.append([span])
    return groups


def _undone(spans: list[Span], fit: Sizes, certainty: Array, within_s: int) -> int | None:
    """Return the first of two doubtful sizes, close together, that undo each other: one gust; None without such."""
    for i, (first, second) in enumerate(pairwise(spans)):
        net = fit.size_g[i] + fit.size_g[i + 1]
        u_net = np.sqrt(fit.covariance_g2[i : i + 2, i : i + 2].sum())
        doubtful = min(certainty[i], certainty[i + 1]) < 2.0 * CERTAIN
        opposite = fit.size_g[i] * fit.size_g[i + 1] < 0.0
        if doubtful and opposite and second[0] - first[1] < within_s and abs(net) < 3.0 * u_net:
            return i
    return None


def _uncertain(size_g: Array, covariance_g2: Array) -> list[UFloat]:
    """Return sizes as uncertain numbers that keep their correlations."""
    told = np.isfinite(size_g)
    sizes = [ufloat(0.0, UNKNOWN_U_G, "mass_step")] * len(size_g)
    index = np.flatnonzero(told)
    if len(index) == 1:
        u_g = float(np.sqrt(covariance_g2[index[0], index[0]]))
        sizes[index[0]] = ufloat(float(size_g[index[0]]), max(u_g, LEAST_U_G), "mass_step")
    elif len(index):
        tags = ["mass_step"] * len(index)
        together = covariance_g2[np.ix_(index, index)] + LEAST_U_G**2 * np.eye(len(index))
        for i, size in zip(index, correlated_values(size_g[index].tolist(), together, tags=tags), strict=True):
            sizes[i] = size
    return sizes


def _moved(t_s: Array, values: Array, before: float, after: float, span: Span) -> UFloat:
    """Return when half of a load had moved: between the last reading on one side of the half and the first beyond it.

    Args:
        t_s: Times of the disturbed readings and of their neighbours.
        values: Their masses.
        before: Level before.
        after: Level after.
        span: The disturbed seconds, where readings say nothing.
    """
    low, high = float(span[0]), float(span[1])
    if np.isfinite(before) and np.isfinite(after) and before != after and len(t_s) > 1:
        beyond = (values - 0.5 * (before + after)) * np.sign(after - before) > 0.0
        first, last = np.argmax(beyond), len(beyond) - 1 - np.argmax(~beyond[::-1])
        if beyond.any() and not beyond.all() and first > 0 and last + 1 < len(beyond):
            low, high = sorted((float(t_s[first - 1] + t_s[first]) / 2.0, float(t_s[last] + t_s[last + 1]) / 2.0))
            reading = max(float(t_s[first] - t_s[first - 1]), float(t_s[last + 1] - t_s[last]))
            # Of what comes in pieces, the half is in at a moment that is not quite the middle.
            share = (values - before) / (after - before)
            moving = t_s[(share > 0.1) & (share < 0.9)]
            pieces = float(np.ptp(moving)) / 5.0 if len(moving) else 0.0
            u_s = float(np.hypot(np.hypot(high - low, reading) / 12.0**0.5, pieces))
            return ufloat(0.5 * (low + high), u_s, "mass_step_time")
    return ufloat(0.5 * (low + high), max(high - low, 1.0) / 12.0**0.5, "mass_step_time")
