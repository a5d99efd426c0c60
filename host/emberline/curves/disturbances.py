"""Where the load of a scale was disturbed: by hands, by what they set down or took away, by gusts and knocks.

A disturbance shows by readings that jump, far more than they do in the surrounding minutes; or, where it is slow or
small, by straight lines before and after a second that disagree by far more than elsewhere hereabouts. So wind raises
the bar by itself. A disturbance lasts for as long as readings jump or scatter within their second.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emberline.curves.grid import MAD_TO_SD
from emberline.curves.pours import find_pours
from emberline.curves.robust import SlidingLines, code_step, local_scale, median, running_median, runs

Array = NDArray[np.float64]
Span = tuple[int, int]
"""The half-open range of seconds that a disturbance spoils."""

MIN_STEP_G = 2.5
"""Smallest change of load that is called a step; below it lie leads that tug, ash and gusts."""
SIGNIFICANCE = 8.0
"""Smallest step over the local scatter of the same difference."""
MOST_DISTURBANCES = 200
"""Disturbances that are taken out of one curve by lines, at most."""
UNSEEN_G_S = 0.1
"""Pace at which a burn may change unseen, g/s: what a gap must exceed to have hidden a step."""
BENT_G_S = 0.15
"""By how much a fire may change its pace within seconds, g/s (ours): to a slow logger that looks like a small load."""
LEAST_NOISE_G = 0.02
"""Smallest noise of a load cell to believe."""
MOST_LOSS_G_S = 2.5
"""Fastest loss of a burn and its pot, g/s: 5.6 kW into the pot as steam, more than small stoves give (common practice,
no source)."""
_JUMP = 6.0  # difference between two readings, over what is usual, that a hand or a load makes
_STIRS = 3.0  # the same beside a handling, where it is a step's size
_STILL = 4  # readings without such a jump that end a disturbance
_SCALES = ((6, 2), (20, 3))  # (window, gap) readings: sharp steps, and slow pours or small steps under noise
_PACE = 3  # so many differences before and after one, and one more, tell the middle of a pace
_MINUTE = 60  # differences around one that tell its pace for what is usual: gusts last for several
_GAP = 5  # usual distances between readings, missing, that make a gap
_CALM_POINTS = 4
_ROUNDS = 12


@dataclass(frozen=True, slots=True, eq=False)
class Disturbances:
    """The disturbances of a mass curve, and the curve without them.

    Attributes:
        spans: The disturbed seconds, in order of time, with calm readings between.
        level_g: (n,) the curve, about levelled across the disturbances; NaN where disturbed or not read.
        spacing: Usual distance between readings, seconds.
        code_g: Step of the readings' codes; 0 where they have none to speak of.
    """

    spans: list[Span]
    level_g: Array
    spacing: int
    code_g: float

    @property
    def least_noise_g(self) -> float:
        """Smallest noise to believe of this curve, codes among it."""
        return max(self.code_g / math.sqrt(12.0), LEAST_NOISE_G)


def find_disturbances(values: Array, spread: Array) -> Disturbances:
    """Find every disturbance of a mass curve.

    Args:
        values: (n,) mass on the 1 Hz grid without spikes, g; NaN where nothing was read.
        spread: (n,) scatter within each second, NaN where not known.
    """
    search = _Search(values, spread)
    spans = _merged(search.changes() + search.excursions(), values)
    return Disturbances(spans, search.level, search.spacing, search.code_g)


class _Search:
    """A mass curve from which steps are taken out."""

    def __init__(self, values: Array, spread: Array) -> None:
        self._values, self.spacing = values, _spacing(values)
        self.level = values.copy()
        self._where = np.flatnonzero(np.isfinite(values))
        v = values[self._where]
        self.code_g = code_step(values)
        self._least_g = max(self.code_g / 12.0**0.5, LEAST_NOISE_G)
        apart = np.diff(self._where)
        falls = np.diff(v) / apart
        self._fall = _beyond_pace(falls) * apart
        # What happened while nothing was read for long is told by lines, not by two readings.
        self._fall[apart >= _GAP * self.spacing] = 0.0
        usual = local_scale((falls - running_median(falls, _MINUTE // 2)) * apart)
        # Rounding moves a reading by half a code at most.
        usual = np.maximum(np.where(np.isfinite(usual), usual, 0.0), max(0.5 * self.code_g, LEAST_NOISE_G))
        self._jumps = np.abs(self._fall) / usual
        jumping = self._jumps >= _JUMP
        jumping |= (self._jumps >= _STIRS) & (np.abs(self._fall) >= MIN_STEP_G)
        # A reading is stirred that comes by a jump, or scatters within its second.
        self._stirred = np.append(False, jumping) | _restless(spread[self._where], max(self.code_g, LEAST_NOISE_G))

    def changes(self) -> list[Span]:
        """Find the disturbances that leave a load or move it far, and level the curve."""
        found = self._across_gaps()
        handled = self._handled()
        poured = self._poured()
        found += handled + poured
        spent = np.zeros((len(_SCALES), len(self.level) + 1), dtype=np.bool_)
        for over, scale in zip(spent, _SCALES, strict=True):
            reach = sum(scale) * self.spacing
            for start, end in handled + poured:
                # A handling changes the pace, and beside a knee the lines on both sides disagree.
                over[max(0, start - reach) : end + reach + 1] = True
        for _ in range(_ROUNDS):
            peaks = self._peaks(spent)
            if not peaks or len(found) >= MOST_DISTURBANCES:
                break
            for peak in peaks:
                start, end = self._extent(peak)
                spent[:, max(0, min(start, peak) - 2 * self.spacing) : max(end, peak) + 2 * self.spacing + 1] = True
                found.append((start, end))
                self._take_out(start, end)
        return found

    def _handled(self) -> list[Span]:
        """Find the disturbances that show by readings that jump."""
        found = []
        jumping = np.flatnonzero(self._jumps >= _JUMP)
        for group in np.split(jumping, np.flatnonzero(np.diff(jumping) > _STILL) + 1):
            if len(group) == 0:
                continue
            start, end = self._between_jumps(int(group[0]), int(group[-1]), 1)
            net = self._rough(start, end)
            if np.isfinite(net) and abs(net) >= 4.0 * MIN_STEP_G:
                # A gust comes back; beside what left a load, smaller jumps are hands too.
                start, end = self._between_jumps(int(group[0]), int(group[-1]), _STILL)
            moved = float(np.abs(np.cumsum(self._fall[group[0] : group[-1] + 1])).max())
            jumped = float(np.abs(self._fall[group]).sum())
            if moved >= 4.0 * MIN_STEP_G or (np.isfinite(net) and min(abs(net), jumped) >= MIN_STEP_G):
                found.append((start, end))
        for start, end in found:
            self._take_out(start, end)
        return found

    def _poured(self) -> list[Span]:
        """Find the disturbances in which a load came on bit by bit."""
        found = find_pours(self.level, self.spacing, self._least_g)
        for start, end in found:
            self._take_out(start, end)
        return found

    def _between_jumps(self, first: int, last: int, reach: int) -> Span:
        """Return the seconds spoilt by the jumps `first` to `last`; jump i lies between readings i and i + 1.

        Readings up to `reach` further on belong to them as long as they are stirred.

        The reading after the last jump is left out: what was set down rings for a moment.
        """
        first, last = first + 1, last + 1
        while (before := self._stirred[max(0, first - reach) : first]).any():
            first = max(0, first - reach) + int(np.argmax(before))
        while (after := self._stirred[last + 1 : last + 1 + reach]).any():
            last += 1 + int(np.flatnonzero(after)[-1])
        return int(self._where[first]), int(self._where[last]) + 1

    def _take_out(self, start: int, end: int) -> None:
        """Level the curve across a disturbance."""
        size = self._rough(start, end)
        if np.isfinite(size) and abs(size) >= 0.5 * MIN_STEP_G:
            self.level[end:] -= size
        self.level[start:end] = np.nan

    def excursions(self) -> list[Span]:
        """Find disturbances that leave no step: a poke, a hand on the pot, a passing knock."""
        spacing = self.spacing
        lines = SlidingLines(self.level)
        k = np.arange(len(self.level))
        w = 15 * spacing
        n0, t0, v0, s0, _ = lines.window(k - w - 3 * spacing, k - 3 * spacing)
        n1, t1, v1, s1, _ = lines.window(k + 4 * spacing, k + 4 * spacing + w)
        expected = 0.5 * (v0 + s0 * (k - t0) + v1 + s1 * (k - t1))
        expected[(n0 < 5) | (n1 < 5)] = np.nan
        residual = self.level - expected
        scale = np.maximum(local_scale(residual), 0.1)
        with np.errstate(invalid="ignore"):
            off = np.abs(residual) > np.maximum(10.0 * scale, 4.0 * MIN_STEP_G)
        seconds = np.flatnonzero(off)
        spans = [
            (max(0, int(group[0]) - spacing), min(len(self.level), int(group[-1]) + 1 + spacing))
            for group in np.split(seconds, np.flatnonzero(np.diff(seconds) > 4 * spacing) + 1)
            if len(group) >= 2
        ]
        for start, end in spans:
            self.level[start:end] = np.nan
        return spans

    def _peaks(self, spent: NDArray[np.bool_]) -> list[int]:
        """Return the boundaries at which the most significant steps sit, strongest first, well apart."""
        lines = SlidingLines(self.level)
        k = np.arange(len(self.level) + 1)
        best = np.zeros(len(k))
        for (width, gap), over in zip(_SCALES, spent, strict=True):
            w, g = width * self.spacing, gap * self.spacing
            difference, rise = _difference(lines, k, w, g, max(4, width // 2))
            scale = np.maximum(local_scale(difference), 0.05)
            with np.errstate(invalid="ignore"):
                least_g = MIN_STEP_G + self._burnt_unseen_g(gap, rise)
                score = np.where(np.abs(difference) >= least_g, np.abs(difference) / scale, 0.0)
            best = np.fmax(best, np.where(over, 0.0, score))
        peaks: list[int] = []
        apart = 2 * sum(_SCALES[-1]) * self.spacing
        while len(peaks) < MOST_DISTURBANCES:
            peak = int(np.argmax(best))
            if best[peak] < SIGNIFICANCE:
                break
            peaks.append(peak)
            best[max(0, peak - apart) : peak + apart] = 0.0
        return peaks

    def _burnt_unseen_g(self, gap: int, rise: Array) -> Array | float:
        """Return by how much lines may disagree at each boundary because a fire changed its pace between them.

        Readings every second show when it does so; those of slow loggers do not. But no fire makes a load rise, and
        none makes it jump by more than it then burns from one reading to the next.
        """
        if self.spacing == 1:
            return 0.0
        reach = gap * self.spacing
        edges = np.zeros(len(rise) + 1, dtype=np.int64)
        least_g = BENT_G_S * self.spacing
        jumped = np.flatnonzero((self._jumps >= _STIRS) & (np.abs(self._fall) >= least_g))
        np.add.at(edges, np.maximum(self._where[jumped] + 1 - reach, 0), 1)
        np.add.at(edges, np.minimum(self._where[jumped + 1] + reach + 1, len(rise)), -1)
        handled = (np.cumsum(edges[:-1]) > 0) | (rise > 0.5 * MIN_STEP_G)
        return np.where(handled, 0.0, BENT_G_S * 2 * gap * (self.spacing - 1))

    def _extent(self, peak: int) -> Span:
        """Return the half-open range of seconds that the disturbance at `peak` spoils: where readings jump."""
        reach = sum(_SCALES[-1]) * self.spacing
        low, high = np.searchsorted(self._where, [peak - reach, peak + reach])
        low, high = max(0, int(low) - 1), min(len(self._jumps), int(high))
        live = self._jumps[low:high] * (
            np.isfinite(self.level[self._where[low:high]]) & np.isfinite(self.level[self._where[low + 1 : high + 1]])
        )
        if len(live) == 0 or live.max() < _JUMP:
            return max(0, peak - 3 * self.spacing), min(len(self.level), peak + 3 * self.spacing)
        first = last = low + int(np.argmax(live))
        jumping = self._jumps >= _JUMP
        while jumping[max(0, first - _STILL) : first].any():
            first = max(0, first - _STILL) + int(np.argmax(jumping[max(0, first - _STILL) : first]))
        while jumping[last + 1 : last + 1 + _STILL].any():
            last = last + 1 + int(np.flatnonzero(jumping[last + 1 : last + 1 + _STILL])[-1])
        return self._between_jumps(first, last, _STILL)

    def _rough(self, start: int, end: int) -> float:
        """Return about how large a step is, from the nearest calm readings and the pace around; NaN without any."""
        low, high = np.searchsorted(self._where, [start, end])
        before, after = self._where[max(0, low - 30) : low], self._where[high : high + 30]
        before = before[np.isfinite(self.level[before])]
        after = after[np.isfinite(self.level[after])]
        if len(before) == 0 or len(after) == 0:
            return np.nan
        paces = [np.diff(self.level[side]) / np.diff(side) for side in (before, after) if len(side) >= 5]
        pace = median(np.concatenate(paces)) if paces else 0.0
        before, after = before[-5:], after[:5]
        rise = median(self.level[after]) - median(self.level[before])
        return rise - pace * (median(after) - median(before))

    def _across_gaps(self) -> list[Span]:
        """Find changes of load that happened while nothing was read."""
        found = []
        for start, end in runs(~np.isfinite(self.level)):
            if end - start < _GAP * self.spacing or start < 3 or end > len(self.level) - 3:
                continue
            # A logger that averages smears the change over its last and first readings.
            low, high = start - 2 * self.spacing, end + 2 * self.spacing
            size = self._rough(low, high)
            if np.isfinite(size) and abs(size) > MIN_STEP_G + UNSEEN_G_S * (end - start) + 10.0 * self._least_g:
                found.append((low, high))
                self._take_out(low, high)
        return found


def _spacing(values: Array) -> int:
    """Return the usual distance between finite values, whole seconds."""
    where = np.flatnonzero(np.isfinite(values))
    return max(1, round(float(np.median(np.diff(where))))) if len(where) > 2 else 1


def _beyond_pace(falls: Array) -> Array:
    """Return how far each fall between two readings lies from the pace before or after it, whichever is nearer, (n,).

    A pot that comes to the boil falls faster from one second to the next, and jumps no more than before. What falls
    faster than any burn, or rises, is no pace but a load that is poured on or taken off.
    """
    pace = np.pad(np.clip(running_median(falls, _PACE), -MOST_LOSS_G_S, 0.0), _PACE + 1, mode="edge")
    before, after = falls - pace[: len(falls)], falls - pace[2 * _PACE + 2 :]
    return np.where(np.abs(before) < np.abs(after), before, after)


def _restless(spread: Array, least_g: float) -> NDArray[np.bool_]:
    """Return which readings scatter within their second far more than is usual hereabouts, (n,)."""
    known = np.where(np.isfinite(spread), spread, np.nan)
    usual = local_scale(known) / MAD_TO_SD
    usual = np.maximum(np.where(np.isfinite(usual), usual, 0.0), least_g)
    return np.asarray(known > _JUMP * usual)


def _difference(lines: SlidingLines, k: NDArray[np.int64], w: int, g: int, enough: int) -> tuple[Array, Array]:
    """Return the line after each boundary less the line before it, there and from one's end to the other's beginning.

    Both are NaN where either line has too few points.
    """
    n0, t0, v0, s0, _ = lines.window(k - g - w, k - g)
    n1, t1, v1, s1, _ = lines.window(k + g, k + g + w)
    difference = v1 + s1 * (k - 0.5 - t1) - v0 - s0 * (k - 0.5 - t0)
    difference[(n0 < enough) | (n1 < enough)] = np.nan
    return difference, difference + g * (s0 + s1)


def _merged(found: list[Span], values: Array) -> list[Span]:
    """Join disturbances with too little calm between them to tell their sizes apart."""
    merged: list[Span] = []
    for start, end in sorted(found):
        if merged and np.isfinite(values[merged[-1][1] : start]).sum() < _CALM_POINTS:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return merged
