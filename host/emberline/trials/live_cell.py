"""A load cell followed second by second: steps that have settled, and the mass and rate between them.

Both are the final pass's own (`curves.mass_steps`, `curves.burning_rate`); settled parts of the curve are not worked
through again. Steps are looked for when the load has moved, and now and then in the last minutes for those too slow to
be noticed at once; the smoother goes on from the state in which it left the settled part. What it finds depends on when
it ran before, so it is marked when it would run; all that is due runs, in its order, when somebody asks for what it
finds. Where nothing burns, nobody does.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from emberline.curves.burning_rate import LossRate, noise_of, smooth_onward
from emberline.curves.grid import MAD_TO_SD, Column
from emberline.curves.mass_steps import MIN_STEP_G, SETTLED_S, MassStep, find_steps, masked
from emberline.curves.robust import SlidingLines, median, quantile, runs
from emberline.trials.trial import LEAST_ROOM_S

Array = NDArray[np.float64]

STEP_WINDOW_S = 160
"""Seconds of curve in which new steps are looked for."""
YOUNG_EVERY_S = 5
"""Seconds between two measures of a young step."""
REMEASURE_S = 45
"""Seconds for which a step is young and measured again."""
SLOW_STEPS_EVERY_S = 10
"""Seconds between two looks for steps too slow or too small to be noticed by themselves."""
SLOW_SCALES = ((6, 2), (20, 3))
"""Windows and gaps, seconds, between which such a look compares lines."""
SLOW_SCATTERS = 5.0
"""Distance of such lines, in their usual scatter, that is worth the detectors' time."""
SCATTERS_KEPT = 12
"""Looks from which that usual scatter is taken."""
SLOW_GAP_S = 5
"""Silence in which a load may have changed."""
LAG_S = 70
"""Seconds of curve that are smoothed again at each update; what lies before them is settled."""
CONTEXT_S = 10
"""Seconds before them which are read with them, for spikes to be told from levels."""
JUDGED_S = 180
"""Seconds of curve from which noise and pace are judged."""
FRESH_S = 15
"""Seconds by whose median a fire that has just caught is told."""
LEAST_PACE_G_S = 0.02
JUDGE_EVERY_S = 60
LIVE_WANDER = 1e-4
"""Intensity of the rate's random walk in a live run, as a share of the squared rate per second."""
MOVED_G, MOVED_NOISES = 6.0, 10.0
"""Movement of the load that is looked at: so many grams, and so many times its usual change in a second."""
SLOPE_REACH = 1.1
"""Distance to the newest seconds over the distance from which their slope is known."""
MOST_DUE = 360
"""Stretches that may wait to be smoothed: half an hour of them."""


@dataclass(frozen=True, slots=True, eq=False)
class _Stretch:
    """A stretch of the curve to be smoothed, as it stood at its end.

    Attributes:
        begin: First second to be smoothed anew.
        end: The second after the last.
        steps: The steps that were known.
    """

    begin: int
    end: int
    steps: list[MassStep]


class LiveCell:
    """What a load cell has shown so far.

    Attributes:
        steps: Steps that have settled, in order of time; young ones in their newest measure.
    """

    def __init__(self) -> None:
        """Begin without a reading."""
        self.steps: list[MassStep] = []
        self._table = np.zeros((5, 0))
        self._states = np.zeros((0, 5))
        self._n = 0
        self._marked: _Stretch = _Stretch(0, 0, [])
        self._due: list[_Stretch] = []
        self._recent, self._recent_of = np.zeros(0), self._marked
        self._changed_s: int | None = None
        self._judged_s = -JUDGE_EVERY_S
        self._noise_g, self._wander = 0.1, 0.0
        self._usual_g: dict[int, list[float]] = {width: [] for width, _ in SLOW_SCALES}

    def look(self, mass: Column, now: int) -> bool:
        """Look at the newest second; tell whether the steps are others than before.

        Args:
            mass: The cell's column up to now.
            now: Its length.
        """
        if len(self._due) > MOST_DUE:
            self._smooth_due(mass)
        # Older steps stand; younger ones are measured again as more calm curve follows them.
        standing = [step for step in self.steps if step.end_s <= now - REMEASURE_S]
        young = self.steps[len(standing) :]
        again = bool(young) and now % YOUNG_EVERY_S == 0
        if not again and not _moved(mass.value, now) and not self._slow_step(mass, now):
            return False
        seen = self._seen(mass, standing, young, now)
        same = len(seen) == len(young) and all(
            abs(a.size_g.nominal_value - b.size_g.nominal_value) < 0.1 and (a.start_s, a.end_s) == (b.start_s, b.end_s)
            for a, b in zip(seen, young, strict=True)
        )
        if same:
            return False
        changed = min(step.start_s for step in (*seen, *young))
        self._changed_s = changed if self._changed_s is None else min(changed, self._changed_s)
        self.steps = [*standing, *seen]
        return True

    def loss(self, mass: Column, now: int) -> LossRate:
        """Return smoothed mass and rate up to now."""
        self.mark(now)
        self._smooth_due(mass)
        table = self._table[:, :now]
        return LossRate(table[0], table[1], table[2], table[3], table[4], self._wander)

    def mark(self, now: int) -> None:
        """Have the curve smoothed up to now, once somebody asks for what comes of it or of a later second."""
        if self._marked.end == now and self._changed_s is None:
            return
        begin = min(self._marked.end, now if self._changed_s is None else self._changed_s)
        self._changed_s = None
        self._marked = _Stretch(max(0, begin - LAG_S), now, self.steps)
        self._due.append(self._marked)

    def bare(self, mass: Column, low: int, now: int) -> Array:
        """Return the mass between two seconds with steps taken out and spoilt seconds as NaN."""
        return _bare(mass, self.steps, low, now)

    def _seen(self, mass: Column, standing: list[MassStep], young: list[MassStep], now: int) -> list[MassStep]:
        """Return the steps of the last minutes that do not stand yet."""
        low = max(0, now - STEP_WINDOW_S)
        tail = mass.between(low, now)
        known = tuple(step.earlier(low) for step in standing if step.end_s > low)
        tail = Column(tail.t_s, masked(tail, known), tail.spread, tail.count)
        found = [step.earlier(-low) for step in find_steps(tail) if low == 0 or step.start_s >= CONTEXT_S]
        seen = [step for step in found if step.end_s <= now - SETTLED_S]
        unsettled = [step for step in found if step.end_s > now - SETTLED_S]
        # A handling that goes on after all keeps its first measure until it has settled again.
        return [step for step in young if any(late.start_s <= step.end_s for late in unsettled)] + seen

    def _slow_step(self, mass: Column, now: int) -> bool:
        """Tell whether lines on both sides of any of the last minute's seconds lie a step apart."""
        if now % SLOW_STEPS_EVERY_S:
            return False
        self.mark(now)
        reach = max(width + gap for width, gap in SLOW_SCALES)
        piece = self._read(mass, self._marked)[-3 * reach :]
        low = now - len(piece)
        if len(piece) < 2 * reach or not np.isfinite(piece[-SLOW_STEPS_EVERY_S:]).any():
            return False
        silent = ~np.isfinite(piece) & _unexplained(self.steps, low, now)
        if any(b - a >= SLOW_GAP_S for a, b in runs(silent)):
            return True
        k = np.arange(reach, len(piece) - reach + 1)
        lines = SlidingLines(piece)
        worth = False
        for width, gap in SLOW_SCALES:
            _, t0, v0, s0, _ = lines.window(k - gap - width, k - gap)
            _, t1, v1, s1, _ = lines.window(k + gap, k + gap + width)
            apart = np.abs(v1 + s1 * (k - 0.5 - t1) - v0 - s0 * (k - 0.5 - t0))
            known = apart[np.isfinite(apart)]
            if len(known) == 0:
                continue
            usual = self._usual_g[width]
            usual.append(MAD_TO_SD * median(known))
            del usual[:-SCATTERS_KEPT]
            worth = worth or float(np.max(known)) > max(MIN_STEP_G, SLOW_SCATTERS * sorted(usual)[len(usual) // 2])
        return worth

    def _read(self, mass: Column, stretch: _Stretch) -> Array:
        """Return the bare mass of a stretch, and of some seconds before it."""
        if self._recent_of is not stretch:
            low = stretch.begin - min(stretch.begin, CONTEXT_S)
            self._recent, self._recent_of = _bare(mass, stretch.steps, low, stretch.end), stretch
        return self._recent

    def _smooth_due(self, mass: Column) -> None:
        """Smooth what was marked, one stretch after the other."""
        for stretch in self._due:
            self._smooth(mass, stretch)
        self._due.clear()

    def _smooth(self, mass: Column, stretch: _Stretch) -> None:
        """Smooth what is new, and again what is not settled."""
        begin, now = stretch.begin, stretch.end
        if now - self._judged_s >= JUDGE_EVERY_S:
            recent = _bare(mass, stretch.steps, max(0, now - JUDGED_S), now)
            self._noise_g = float(np.median(noise_of(recent)[-JUDGE_EVERY_S:]))
            self._judged_s = now
        piece = self._read(mass, stretch)[min(begin, CONTEXT_S) :]
        self._wander = LIVE_WANDER * self._pace(piece) ** 2
        before = self._states[begin - 1].tolist() if begin else None
        noise = np.full(len(piece), self._noise_g)
        loss, states = smooth_onward(piece, noise, self._wander, None if before is None else tuple(before))
        room = self._table.shape[1]
        if now > room:
            more = max(room // 2, now - room, LEAST_ROOM_S - room)
            self._table = np.concatenate((self._table, np.zeros((5, more))), axis=1)
            self._states = np.concatenate((self._states, np.zeros((more, 5))))
        self._table[:, begin:now] = (loss.mass_g, loss.rate_g_s, loss.u_rate_g_s, loss.u_mass_g, loss.noise_g)
        self._states[begin:now] = states
        self._n = now

    def _pace(self, piece: Array) -> float:
        """Return how vigorously fuel goes, g/s: in the last minutes, or in the last seconds where that is more."""
        settled = self._table[1, max(0, self._n - JUDGED_S) : self._n]
        usual = quantile(settled, 0.9) if len(settled) else 0.0
        early, late = piece[-2 * FRESH_S : -FRESH_S], piece[-FRESH_S:]
        early, late = early[np.isfinite(early)], late[np.isfinite(late)]
        if len(early) < FRESH_S // 3 or len(late) < FRESH_S // 3:
            return max(usual, LEAST_PACE_G_S)
        fresh = (median(early) - median(late)) / FRESH_S
        return max(usual, fresh, LEAST_PACE_G_S)


def newest_change_g(mass: Column | None, now: int) -> float:
    """Return by how much the newest seconds of a load lie above what its pace before let expect; 0 where none tell.

    Args:
        mass: The load cell's column up to now; None without one.
        now: Seconds so far.
    """
    if mass is None:
        return 0.0
    early, middle, recent = (
        piece[np.isfinite(piece)]
        for piece in (mass.value[max(0, now - high) : max(0, now - low)] for high, low in ((65, 45), (45, 25), (5, 0)))
    )
    if not (len(early) and len(middle) and len(recent)):
        return 0.0
    # Twenty seconds from the first middle to the second, 32.5 from there to the newest.
    return median(recent) - median(middle) - 32.5 / 20.0 * min(0.0, median(middle) - median(early))


def _bare(mass: Column, steps: list[MassStep], low: int, now: int) -> Array:
    before = sum(step.size_g.nominal_value for step in steps if step.end_s <= low)
    inside = tuple(step.earlier(low) for step in steps if step.end_s > low)
    return np.asarray(masked(mass.between(low, now), inside) - before)


def _unexplained(steps: list[MassStep], low: int, now: int) -> NDArray[np.bool_]:
    """Return the seconds that no known step spoils, (now - low,)."""
    free = np.ones(now - low, dtype=bool)
    for step in steps:
        free[max(0, step.start_s - low) : max(0, step.end_s - low)] = False
    return free


def _moved(value: Array, now: int) -> bool:
    """Tell whether the load moved about as long ago as it takes to settle."""
    late = now - SETTLED_S - 2
    if late < 9:
        return False
    recent = sorted(v for v in value[late - 2 : late + 4].tolist() if v == v)
    before = [v for v in value[max(0, late - 22) : late - 4].tolist() if v == v]
    if len(recent) < 2 or len(before) < 6:
        return False
    changes = sorted(abs(b - a) for a, b in pairwise(before))
    noise = changes[len(changes) // 2] + 0.1
    half = len(before) // 2
    early, middle = sorted(before[:half]), sorted(before[half:])
    expected = middle[len(middle) // 2] + SLOPE_REACH * (middle[len(middle) // 2] - early[len(early) // 2])
    return bool(abs(recent[len(recent) // 2] - expected) > max(MOVED_G, MOVED_NOISES * noise))
