"""Sudden changes of the load: where they are, how large, and which seconds they spoil.

A step is the difference between the straight lines that the mass follows before and after a disturbance, taken at the
middle of the disturbance, so that the burn's own slope and a change of that slope do not count as load. Its size is
judged against how the same difference scatters in the surrounding minutes, so wind raises the bar by itself.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.curves.grid import Column
from emberline.curves.robust import SlidingLines, local_scale, mad_sd, runs, white_noise_sd, without_spikes

Array = NDArray[np.float64]

MIN_STEP_G = 2.5
"""Smallest change of load that is called a step; below it lie leads that tug, ash and gusts."""
SIGNIFICANCE = 8.0
"""Smallest step over the local scatter of the same difference."""
FIT_S = 20
"""Seconds of calm curve on each side from which a step's size is taken."""
SETTLED_S = 8
"""Seconds after a disturbance before a live run trusts its size."""
_SCALES = ((6, 2), (20, 3))  # (window, gap) seconds: sharp steps, and slow pours or small steps under noise
_CALM_POINTS = 4
MOST_DISTURBANCES = 40
"""Disturbances that are taken out of one curve, at most."""
UNSEEN_G_S = 0.1
"""Pace at which a burn may change unseen, g/s: what a gap must exceed to have hidden a step."""
LEAST_U_G = 1e-3
"""Least standard uncertainty of a step's size."""
UNKNOWN_U_G = 1e4
"""Standard uncertainty given to a step with no calm curve on one side."""


@dataclass(frozen=True, slots=True)
class MassStep:
    """A change of load, or a disturbance that left none.

    Attributes:
        start_s: First disturbed second.
        end_s: First calm second after it.
        size_g: Load after less load before, at the middle of the disturbance; positive for what was added. Its
            uncertainty is that of the curve, without the cell's span.
        excursion_g: Largest distance from the neighbouring lines during the disturbance.
    """

    start_s: int
    end_s: int
    size_g: UFloat
    excursion_g: float

    @property
    def t_s(self) -> float:
        """The moment from which the new load is fully on the cell."""
        return float(self.end_s)

    def earlier(self, by_s: int) -> "MassStep":
        """Return the step on a record that begins later by so many seconds."""
        return MassStep(max(self.start_s - by_s, 0), self.end_s - by_s, self.size_g, self.excursion_g)


def find_steps(mass: Column) -> tuple[MassStep, ...]:
    """Find every step of the load in a mass curve.

    Args:
        mass: Mass on the 1 Hz grid, g; seconds may be empty.

    Returns:
        The steps in order of time, those of the same handling merged.
    """
    spacing = _spacing(mass.value)
    values = without_spikes(mass.value, floor=0.02)
    level = values.copy()
    found = _across_gaps(level, spacing)
    for _ in range(MOST_DISTURBANCES):
        peak = _strongest(level, spacing)
        if peak is None:
            break
        start, end = _extent(level, peak, spacing)
        size, _ = _net(level, start, end, spacing)
        if not np.isfinite(size) or abs(size) < 0.5 * MIN_STEP_G:
            # What leaves no load is only a spoilt stretch; it is widened so that it cannot be found again.
            level[max(0, min(start - spacing, peak - 4 * spacing)) : max(end + spacing, peak + 4 * spacing)] = np.nan
            continue
        found.append((start, end))
        level[end:] -= size
        level[start:end] = np.nan
    found += _excursions(level, spacing)
    handlings = _merged(found, values, spacing)
    while True:
        steps = _measured(values, handlings, spacing)
        passing = _passing(steps, spacing)
        if passing is None:
            return tuple(
                step
                for step in steps
                if abs(step.size_g.nominal_value) >= 0.5 * MIN_STEP_G or step.excursion_g >= 0.5 * MIN_STEP_G
            )
        handlings[passing : passing + 2] = [(handlings[passing][0], handlings[passing + 1][1])]


def _measured(values: Array, handlings: list[tuple[int, int]], spacing: int) -> tuple[MassStep, ...]:
    """Size every disturbance between its neighbours."""
    calm_from = [0, *(end for _, end in handlings)]
    calm_until = [*(start for start, _ in handlings[1:]), len(values)]
    return tuple(
        _measure(values[low:high], start - low, end - low, low, spacing)
        for (start, end), low, high in zip(handlings, calm_from, calm_until, strict=False)
    )


def _passing(steps: tuple[MassStep, ...], spacing: int) -> int | None:
    """Return the index of two doubtful steps, close together and opposite, that are one gust; None without such."""
    for index, (first, second) in enumerate(pairwise(steps)):
        sizes = (first.size_g, second.size_g)
        doubtful = all(abs(size.nominal_value) < 5.0 * size.std_dev for size in sizes)
        if (
            doubtful
            and second.start_s - first.end_s < 20 * spacing
            and sizes[0].nominal_value * sizes[1].nominal_value < 0
        ):
            return index
    return None


def masked(mass: Column, steps: tuple[MassStep, ...]) -> Array:
    """Return the mass with the steps taken out and disturbed seconds as NaN: what burning and boiling took, (n,)."""
    values = without_spikes(mass.value, floor=0.02)
    for step in steps:
        values[step.end_s :] -= step.size_g.nominal_value
        values[step.start_s : step.end_s] = np.nan
    return values


def _spacing(values: Array) -> int:
    """Return the usual distance between finite values, whole seconds."""
    where = np.flatnonzero(np.isfinite(values))
    return max(1, round(float(np.median(np.diff(where))))) if len(where) > 2 else 1


def _strongest(level: Array, spacing: int) -> int | None:
    """Return the boundary at which the most significant step sits, or None."""
    lines = SlidingLines(level)
    k = np.arange(len(level) + 1)
    best, where = 0.0, None
    for width, gap in _SCALES:
        w, g = width * spacing, gap * spacing
        difference = _difference(lines, k, w, g, max(4, width // 2))
        scale = np.maximum(local_scale(difference), 0.05)[: len(k)]
        with np.errstate(invalid="ignore"):
            score = np.where(np.abs(difference) >= MIN_STEP_G, np.abs(difference) / scale, 0.0)
        score[~np.isfinite(score)] = 0.0
        peak = int(np.argmax(score))
        if score[peak] >= SIGNIFICANCE and score[peak] > best:
            best, where = float(score[peak]), peak
    return where


def _difference(lines: SlidingLines, k: NDArray[np.int64], w: int, g: int, enough: int) -> Array:
    """Return the line after each boundary less the line before it, NaN where either has too few points."""
    n0, t0, v0, s0, _ = lines.window(k - g - w, k - g)
    n1, t1, v1, s1, _ = lines.window(k + g, k + g + w)
    difference = v1 + s1 * (k - 0.5 - t1) - v0 - s0 * (k - 0.5 - t0)
    difference[(n0 < enough) | (n1 < enough)] = np.nan
    return difference


def _extent(level: Array, peak: int, spacing: int) -> tuple[int, int]:
    """Return the half-open range of seconds that the disturbance at `peak` spoils."""
    reach = 60 * spacing
    start, end = peak - 2 * spacing, peak + 2 * spacing
    for _ in range(4):
        before, noise_before = _line(level, start - FIT_S * spacing, start)
        after, noise_after = _line(level, end, end + FIT_S * spacing)
        if before is None or after is None:
            break
        t = np.arange(max(0, peak - reach), min(len(level), peak + reach))
        jump = abs(after.at_one(peak) - before.at_one(peak))
        tolerance = float(max(5.0 * max(noise_before, noise_after), min(0.05 * jump, 3.0), 0.3))
        new_start = _last_calm(level, before, t, peak, tolerance) + 1
        new_end = _first_calm(level, after, t, max(peak, new_start), tolerance)
        if (new_start, new_end) == (start, end):
            break
        start, end = new_start, new_end
    start = max(0, min(start, peak))
    return start, min(len(level), max(end, peak, start + 1))


class _Line:
    """A straight line through calm seconds."""

    def __init__(self, t0: float, v0: float, slope: float) -> None:
        self._t0, self._v0, self.slope = t0, v0, slope

    def at(self, t: Array) -> Array:
        """Return the line's values."""
        return self._v0 + self.slope * (t - self._t0)

    def at_one(self, t: float) -> float:
        """Return one value of the line."""
        return self._v0 + self.slope * (t - self._t0)


def _line(level: Array, low: int, high: int) -> tuple[_Line | None, float]:
    """Fit a line to the finite values of a range, with one pass that drops outliers."""
    low, high = max(0, low), min(len(level), high)
    if low >= high:
        return None, np.nan
    t = np.arange(low, high, dtype=np.float64)
    v = level[low:high]
    good = np.isfinite(v)
    t, v = t[good], v[good]
    if len(t) < 3:
        return None, np.nan
    for _ in range(2):
        t0, v0 = float(np.mean(t)), float(np.mean(v))
        spread = float(np.sum((t - t0) ** 2))
        slope = float(np.sum((t - t0) * (v - v0))) / spread if spread > 0 and len(t) >= _CALM_POINTS else 0.0
        residual = v - v0 - slope * (t - t0)
        noise = max(mad_sd(residual), 0.02)
        keep = np.abs(residual) <= 4.0 * noise
        if keep.all() or keep.sum() < _CALM_POINTS:
            break
        t, v = t[keep], v[keep]
    return _Line(t0, v0, slope), max(mad_sd(residual), float(np.std(residual)))


def _last_calm(level: Array, line: _Line, t: NDArray[np.int64], peak: int, tolerance: float) -> int:
    """Return the last second before the jump from which the curve was still on the line."""
    off = np.abs(level[t] - line.at(t.astype(np.float64))) > tolerance
    where = t[np.isfinite(level[t])]
    off = off[np.isfinite(level[t])]
    calm = where[(where <= peak) & ~off & np.concatenate(([True], ~off[:-1]))]
    return int(calm[-1]) if len(calm) else int(t[0]) - 1


def _first_calm(level: Array, line: _Line, t: NDArray[np.int64], start: int, tolerance: float) -> int:
    """Return the first second after the jump from which the curve stays on the line for a while."""
    finite = np.isfinite(level[t])
    where = t[finite]
    on = (np.abs(level[t] - line.at(t.astype(np.float64))) <= tolerance)[finite]
    stays = on & np.concatenate((on[1:], [True])) & np.concatenate((on[2:], [True, True]))
    calm = where[(where >= start) & stays[: len(where)]]
    return int(calm[0]) if len(calm) else int(t[-1]) + 1


def _net(level: Array, start: int, end: int, spacing: int) -> tuple[float, float]:
    """Return the step across a disturbance and its standard uncertainty from the fit."""
    before, noise_before = _line(level, start - FIT_S * spacing, start)
    after, noise_after = _line(level, end, end + FIT_S * spacing)
    if before is None or after is None:
        return np.nan, np.nan
    middle = 0.5 * (start + end) - 0.5
    size = after.at_one(middle) - before.at_one(middle)
    # A line through m points, taken half a fit beyond its middle, has about twice the error of a mean.
    points_before = np.isfinite(level[max(0, start - FIT_S * spacing) : start]).sum()
    points_after = np.isfinite(level[end : end + FIT_S * spacing]).sum()
    fits = 2.0 * np.hypot(noise_before / np.sqrt(points_before), noise_after / np.sqrt(points_after))
    # When within the disturbance the loss changed its pace nobody saw.
    pace = abs(after.slope - before.slope) * (end - start + 1) / 12.0**0.5
    return size, float(np.hypot(fits, pace))


def _across_gaps(level: Array, spacing: int) -> list[tuple[int, int]]:
    """Find changes of load that happened while nothing was read."""
    found = []
    for start, end in runs(~np.isfinite(level)):
        if end - start < 5 * spacing or start < 3 or end > len(level) - 3:
            continue
        # A logger that averages smears the change over its last and first readings.
        low, high = start - 2 * spacing, end + 2 * spacing
        size, u = _net(level, low, high, spacing)
        if np.isfinite(size) and abs(size) > max(MIN_STEP_G + UNSEEN_G_S * (end - start), 5.0 * u):
            found.append((low, high))
            level[high:] -= size
            level[low:high] = np.nan
    return found


def _excursions(level: Array, spacing: int) -> list[tuple[int, int]]:
    """Find disturbances that leave no step: a poke, a hand on the pot, a passing knock."""
    lines = SlidingLines(level)
    k = np.arange(len(level))
    w = 15 * spacing
    n0, t0, v0, s0, _ = lines.window(k - w - 3 * spacing, k - 3 * spacing)
    n1, t1, v1, s1, _ = lines.window(k + 4 * spacing, k + 4 * spacing + w)
    expected = 0.5 * (v0 + s0 * (k - t0) + v1 + s1 * (k - t1))
    expected[(n0 < 5) | (n1 < 5)] = np.nan
    residual = level - expected
    scale = np.maximum(local_scale(residual), 0.1)
    with np.errstate(invalid="ignore"):
        off = np.abs(residual) > np.maximum(10.0 * scale, 4.0 * MIN_STEP_G)
    seconds = np.flatnonzero(off)
    return [
        (max(0, int(group[0]) - spacing), min(len(level), int(group[-1]) + 1 + spacing))
        for group in np.split(seconds, np.flatnonzero(np.diff(seconds) > 4 * spacing) + 1)
        if len(group) >= 2
    ]


def _merged(found: list[tuple[int, int]], values: Array, spacing: int) -> list[tuple[int, int]]:
    """Join disturbances with too little calm between them to tell their sizes apart."""
    merged: list[tuple[int, int]] = []
    for start, end in sorted(found):
        if merged and np.isfinite(values[merged[-1][1] : start]).sum() < _CALM_POINTS:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return merged


def _measure(piece: Array, start: int, end: int, offset: int, spacing: int) -> MassStep:
    """Size one disturbance inside the calm `piece` between its neighbours, which begins at second `offset`."""
    size, u = _net(piece, start, end, spacing)
    if not np.isfinite(size):
        size, u = 0.0, UNKNOWN_U_G
    before, _ = _line(piece, start - FIT_S * spacing, start)
    away = (
        np.abs(piece[start:end] - before.at(np.arange(float(start), float(end)))) if before is not None else np.zeros(0)
    )
    excursion = float(np.max(away, initial=0.0, where=np.isfinite(away)))
    floor = white_noise_sd(piece[max(0, start - 60) : end + 60]) / FIT_S**0.5
    size_g = ufloat(size, max(u, floor, LEAST_U_G), "mass_step")
    return MassStep(start + offset, end + offset, size_g, excursion)
