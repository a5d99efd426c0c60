"""The tracker: follows a burn second by second, as a live run does, and says what it is sure of.

It steps on the 1 Hz grid and knows the past alone. Events are announced when the evidence suffices, and an announcement
that later seconds refute is retracted. Every estimate is made by the same detectors as in the final pass, on the curve
so far; what differs is when they are asked, and that settled parts of the curve are not worked through again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from emberline.bench.air import boiling_point
from emberline.bench.channels import Channel, Role
from emberline.bench.plan import Plan
from emberline.curves.burning_rate import LossRate, noise_of, smooth, typical_rate
from emberline.curves.events import Event, EventKind, Phase, Retraction
from emberline.curves.flameout import LEAST_DROP_SHARE, RECOVERY_SHARE, REFUEL_GRACE_S, TAIL_S, flaming_level
from emberline.curves.grid import Column, Grid
from emberline.curves.ignition import find_lit
from emberline.curves.mass_steps import SETTLED_S, MassStep, find_steps, masked
from emberline.trials.reading import Reading, SoFar, read_record

Array = NDArray[np.float64]

LOOK_EVERY_S = 5
"""Seconds between two looks at what changes slowly."""
STEP_WINDOW_S = 160
"""Seconds of curve in which new steps are looked for."""
SMOOTH_WINDOW_S = 180
"""Seconds of curve that are smoothed again at each look; what lies before them is settled."""
REMEASURE_S = 45
"""Seconds for which a step is measured again."""
SLOW_STEPS_EVERY_S = 20
"""Seconds between two searches for steps too slow or too small to be noticed by themselves."""
LIT_WINDOW_S = 420
"""Seconds of curve in which lighting is looked for."""
RELIGHT_S = 600
"""A fire that burns again within this time of its flameout never went out: the same batch, the same trial."""
SAME_EVENT_S = 60.0
"""Distance up to which a revised event is still the one that was announced."""
NEAR_BOIL_K = 8.0
"""Distance from the local boiling point within which a live run looks for a boil."""
HOTTER_K = 0.6
"""Excess of the water over a plateau that was called boiling which says that it was not."""
STEADY_S = 15.0
"""Seconds for which the end of flame must be found at the same moment before it is announced."""
STEADY_WITHIN_S = 8.0
"""What counts as the same moment."""
SURE_SHARE = 0.25
"""Share of the flaming level below which the rate must be before an end of flame is announced."""
CALMER = 0.4
"""Ratio of a flame probe's scatter to that in flame which passes for afterglow."""
COOLER = 0.65
"""Ratio of its temperature to that in flame which leaves no flame, flicker or not."""
SAME_LOAD_S = 12.0
"""The same for changes of load."""
SAME_WITHIN_S = {EventKind.LIT: float("inf"), EventKind.FLAMEOUT: 180.0}
"""The same for what happens once, or dies slowly."""
LIVE_WANDER = 1e-4
"""Intensity of the rate's random walk in a live run, as a share of the squared rate per second."""


@dataclass(slots=True)
class Tracked:
    """What a live run said.

    Attributes:
        announced: Events in the order of their announcement, with `announced_t_s`; revised ones in their last form.
        retracted: Announcements that were taken back.
    """

    announced: list[Event] = field(default_factory=list)
    retracted: list[Retraction] = field(default_factory=list)


def same_event(event: Event, others: Sequence[Event], taken: set[int]) -> int | None:
    """Return the index of the event among others that is this one in an earlier form, or None."""
    reach = SAME_WITHIN_S.get(event.kind, SAME_EVENT_S if event.size_g is None else SAME_LOAD_S)
    found = [
        (abs(other.t_s - event.t_s), index)
        for index, other in enumerate(others)
        if other.kind is event.kind and index not in taken and abs(other.t_s - event.t_s) <= reach
    ]
    return min(found)[1] if found else None


class Tracker:
    """Follows one trial.

    Args:
        channels: The bench's channels by role.
        plan: What is known beforehand.
    """

    def __init__(self, channels: Mapping[Role, Channel], plan: Plan) -> None:
        self._channels, self._plan = channels, plan
        self._tracked = Tracked()
        self._steps: list[MassStep] = []
        self._loss = _GrowingLoss()
        self._boiling_c = float(boiling_point(plan.place).nominal_value)
        self._plateaus: dict[float, float] = {}
        self._flameouts_found: list[tuple[int, float]] = []

    @property
    def tracked(self) -> Tracked:
        """Everything said so far."""
        return self._tracked

    @property
    def phase(self) -> Phase:
        """The phase as far as it has been announced."""
        if self._standing(EventKind.FLAMEOUT) is not None:
            return Phase.CHAR
        return Phase.FLAMING if self._standing(EventKind.LIT) is not None else Phase.WAITING

    def look(self, grid: Grid) -> list[Event | Retraction]:
        """Look at the record so far, one second longer than at the last call.

        Args:
            grid: The record up to and including the newest full second.

        Returns:
            What is to be said now: new events and retractions.
        """
        now = grid.n
        mass = grid.get(Role.MASS)
        new_steps = mass is not None and self._find_new_steps(mass, now)
        due = now % LOOK_EVERY_S == 0
        near_boil = self._near_boil(grid, now)
        if not (due or new_steps or near_boil):
            return []
        if mass is not None and (now % (2 * LOOK_EVERY_S) == 0 or new_steps):
            self._loss.update(mass, self._steps, now)
        lit = self._standing(EventKind.LIT) or self._find_lit(grid, now)
        sinking = lit is not None and due and self._sinking(grid, now)
        if not (new_steps or near_boil or sinking or (lit is not None and self._standing(EventKind.LIT) is None)):
            return []
        so_far = SoFar(
            tuple(self._steps),
            self._loss.upto(now) if mass is not None else None,
            lit,
            tuple(boil for boil in self._announced(EventKind.BOIL) if boil.t_s in self._plateaus),
            self._standing(EventKind.FLAMEOUT),
            near_boil,
            sinking,
        )
        reading = read_record(grid, self._channels, self._plan, so_far=so_far)
        return self._settle(reading, grid, sinking)

    def _announced(self, kind: EventKind) -> list[Event]:
        return [event for event in self._tracked.announced if event.kind is kind]

    def _standing(self, kind: EventKind) -> Event | None:
        return next(iter(self._announced(kind)[-1:]), None)

    def _find_new_steps(self, mass: Column, now: int) -> bool:
        """Look for steps that have settled; tell whether there are new ones."""
        # Older steps stand; younger ones are measured again as more calm curve follows them.
        standing = [step for step in self._steps if step.end_s <= now - REMEASURE_S]
        young = self._steps[len(standing) :]
        if now % (LOOK_EVERY_S if young else SLOW_STEPS_EVERY_S) and not _disturbed(mass.value, now):
            return False
        low = max(0, now - STEP_WINDOW_S)
        tail = mass.between(low, now)
        known = tuple(step.earlier(low) for step in standing if step.end_s > low)
        inside = [
            found for found in find_steps(replace(tail, value=masked(tail, known))) if low == 0 or found.start_s >= 10
        ]
        found_steps = [found.earlier(-low) for found in inside]
        seen = [step for step in found_steps if step.end_s <= now - SETTLED_S]
        unsettled = [step for step in found_steps if step.end_s > now - SETTLED_S]
        # A handling that goes on after all keeps its first measure until it has settled again.
        seen = [step for step in young if any(late.start_s <= step.end_s for late in unsettled)] + seen
        same = len(seen) == len(young) and all(
            abs(a.size_g.nominal_value - b.size_g.nominal_value) < 0.5 and abs(a.end_s - b.end_s) < 2
            for a, b in zip(seen, young, strict=True)
        )
        if same:
            return False
        self._steps = [*standing, *seen]
        return True

    def _find_lit(self, grid: Grid, now: int) -> Event | None:
        """Look for lighting in the last minutes."""
        if now % LOOK_EVERY_S:
            return None
        low = max(0, now - LIT_WINDOW_S)
        mass, flame = grid.get(Role.MASS), grid.get(Role.FLAME)
        bare = np.full(now - low, np.nan)
        if mass is not None:
            steps = tuple(step.earlier(low) for step in self._steps if step.start_s >= low)
            bare = masked(mass.between(low, now), steps)
        lag = self._channels[Role.FLAME].time_constant_s if Role.FLAME in self._channels else 0.0
        piece = flame.between(low, now) if flame is not None else None
        lit = find_lit(bare, noise_of(bare), piece, flame_lag_s=lag)
        return lit.later(float(low)) if lit is not None else None

    def _near_boil(self, grid: Grid, now: int) -> bool:
        """Tell whether water that has not boiled on this visit levels off, or a boil has turned out too cool."""
        water = grid.get(Role.WATER)
        if water is None or now < 30:
            return False
        recent = water.value[max(0, now - 12) : now]
        earlier = water.value[max(0, now - 32) : max(0, now - 20)]
        if not np.isfinite(recent).any() or not np.isfinite(earlier).any():
            return False
        level = float(np.nanmedian(recent))
        boil = self._standing(EventKind.BOIL)
        on = self._standing(EventKind.POT_ON)
        if boil is not None and (on is None or boil.t_s > on.t_s):
            if level <= self._plateaus.get(boil.t_s, level) + HOTTER_K or level > 110.0:
                return False
            # The boil is forgotten, so that this look takes it back.
            self._plateaus.pop(boil.t_s, None)
            return True
        # Only where a plateau could be boiling, and has begun to flatten, is it worth the detectors' time.
        rise = level - float(np.nanmedian(earlier))
        return abs(level - self._boiling_c) < NEAR_BOIL_K and rise < 4.0 and now % 2 == 0

    def _sinking(self, grid: Grid, now: int) -> bool:
        """Tell whether the fire may be going out, or may have come back."""
        flameout = self._standing(EventKind.FLAMEOUT)
        if flameout is not None:
            return now - flameout.t_s < RELIGHT_S and now % (3 * LOOK_EVERY_S) == 0
        mass, flame = grid.get(Role.MASS), grid.get(Role.FLAME)
        if now < 90 or not self._flame_is_low(flame, now):
            return False
        if mass is None:
            return flame is not None
        rate = self._loss.upto(now).rate_g_s
        return float(np.mean(rate[-20:])) < 0.5 * flaming_level(rate, max(0, now - 1800), now)

    @staticmethod
    def _flame_is_low(flame: Column | None, now: int) -> bool:
        """Tell whether a flame probe, where one speaks, allows that the flame is out."""
        if flame is None:
            return True
        recent, hot = flame.value[max(0, now - 12) : now], flame.value[max(0, now - 900) : now]
        if not np.isfinite(recent).any() or not np.isfinite(hot).any():
            return True
        return float(np.nanmedian(recent)) < (1.0 - LEAST_DROP_SHARE) * float(np.nanquantile(hot, 0.85))

    def _settle(self, reading: Reading, grid: Grid, looked_for_flameout: bool) -> list[Event | Retraction]:
        """Compare what the detectors say now with what was announced."""
        now, announced = grid.n, self._tracked.announced
        said: list[Event | Retraction] = []
        matched: set[int] = set()
        for event in reading.events:
            index = same_event(event, announced, matched)
            if index is not None:
                matched.add(index)
                announced[index] = event.announced(announced[index].announced_t_s)
            elif self._sure(event, reading, grid):
                announced.append(event.announced(float(now)))
                matched.add(len(announced) - 1)
                said.append(announced[-1])
                if event.kind is EventKind.BOIL:
                    self._plateaus[event.t_s] = float(np.nanmedian(grid.columns[Role.WATER].value[now - 8 : now]))
        for index in range(len(announced) - 1, -1, -1):
            event = announced[index]
            if event.kind is EventKind.FLAMEOUT:
                moved = any(e.kind is EventKind.FLAMEOUT for e in reading.events) and index not in matched
                wrong = looked_for_flameout and (moved or self._burns_again(event, reading, grid))
            else:
                wrong = index not in matched and event.kind is not EventKind.LIT
            if wrong:
                del announced[index]
                why = f"a {event.kind.value} at {event.t_s:.0f} s no longer agrees with the curves"
                retraction = Retraction(event.kind, float(event.announced_t_s or 0.0), float(now), why)
                said.append(retraction)
                self._tracked.retracted.append(retraction)
        return said

    def _sure(self, event: Event, reading: Reading, grid: Grid) -> bool:
        """Tell whether an event may be announced now."""
        now = grid.n
        if event.kind is not EventKind.FLAMEOUT:
            return True
        # Whatever was laid on the fire may have been fuel that smothers it for a while.
        fed = [step.end_s for step in self._steps if step.size_g.nominal_value > 5.0 and step.end_s < event.t_s + 60.0]
        pots = [e.t_s for e in reading.events if e.kind is EventKind.POT_ON]
        last_refuel = max((s for s in fed if not any(abs(s - t) < 5.0 for t in pots)), default=-REFUEL_GRACE_S)
        self._flameouts_found.append((now, event.t_s))
        steady = [t_s for at, t_s in self._flameouts_found if at >= now - 2 * STEADY_S]
        since = next((at for at, _ in self._flameouts_found if at >= now - 2 * STEADY_S), now)
        if now - since < STEADY_S or max(steady) - min(steady) > STEADY_WITHIN_S:
            return False
        if reading.fuel is not None:
            rate = reading.fuel.rate_g_s
            level = flaming_level(rate, int(reading.lit_s or 0), int(event.t_s))
            if float(np.nanmean(rate[-20:])) > SURE_SHARE * level:
                return False
        flame = grid.get(Role.FLAME)
        if flame is not None and now - event.t_s < 4 * TAIL_S and not _calm(flame.value, int(event.t_s), now):
            return False
        return now - event.t_s >= TAIL_S and now - last_refuel >= REFUEL_GRACE_S

    def _burns_again(self, flameout: Event, reading: Reading, grid: Grid) -> bool:
        """Tell whether a fire that was called out burns again with the same batch."""
        now = grid.n
        if now - flameout.t_s > RELIGHT_S:
            return False
        rate = reading.fuel.rate_g_s if reading.fuel is not None else np.full(now, np.nan)
        level = flaming_level(rate, int(reading.lit_s or 0), int(flameout.t_s))
        recent = rate[max(0, now - 25) : now]
        by_mass = bool(np.isfinite(recent).any()) and float(np.nanmedian(recent)) > RECOVERY_SHARE * level > 0
        flame = grid.get(Role.FLAME)
        if flame is None or not np.isfinite(flame.value[max(0, now - 20) : now]).any():
            return by_mass
        lit = int(reading.lit_s or 0)
        hot = float(np.nanmedian(flame.value[lit : max(int(flameout.t_s), lit + 1)]))
        after = float(np.nanmin(flame.value[int(flameout.t_s) : now]))
        by_flame = float(np.nanmedian(flame.value[max(0, now - 20) : now])) > after + 0.6 * (hot - after)
        return by_mass and by_flame


class _GrowingLoss:
    """Smoothed mass and rate of a record that grows; all but its last minutes is settled."""

    def __init__(self) -> None:
        self._table = np.zeros((5, 1024))
        self._n = 0

    def update(self, mass: Column, steps: Sequence[MassStep], now: int) -> None:
        low = max(0, min(now - SMOOTH_WINDOW_S, self._n - 40))
        before = sum(step.size_g.nominal_value for step in steps if step.end_s <= low)
        inside = tuple(step.earlier(low) for step in steps if step.end_s > low)
        bare = masked(mass.between(low, now), inside) - before
        loss = smooth(bare, wander=LIVE_WANDER * typical_rate(bare) ** 2)
        while now > self._table.shape[1]:
            self._table = np.concatenate((self._table, np.zeros_like(self._table)), axis=1)
        settled = 0 if low == 0 else 30
        fresh = np.stack((loss.mass_g, loss.rate_g_s, loss.u_rate_g_s, loss.u_mass_g, loss.noise_g))
        self._table[:, low + settled : now] = fresh[:, settled:]
        self._n = now

    def upto(self, now: int) -> LossRate:
        table = self._table[:, : self._n]
        if self._n < now:
            table = np.concatenate(
                (table, np.repeat(table[:, -1:] if self._n else np.zeros((5, 1)), now - self._n, 1)), 1
            )
        return LossRate(table[0], table[1], table[2], table[3], table[4], LIVE_WANDER)


def _calm(flame: Array, out: int, now: int) -> bool:
    """Tell whether a flame probe has been calmer since `out` than it was in flame, or knows no flicker at all."""
    width = max(now - out, 10)
    since = _scatter(flame[out:now])
    in_flame = [_scatter(flame[a : a + width]) for a in range(max(0, out - 6 * width), max(1, out - width), width)]
    known = [scatter for scatter in in_flame if np.isfinite(scatter)]
    if not known or not np.isfinite(since):
        return True
    hot = float(np.nanmedian(flame[max(0, out - 300) : max(1, out - 20)]))
    if float(np.nanmedian(flame[max(out, now - 15) : now])) < COOLER * hot:
        return True
    usual = float(np.median(known))
    return since < CALMER * usual or usual < 3.0


def _scatter(values: Array) -> float:
    """Return the scatter of a stretch about its own parabola."""
    t = np.flatnonzero(np.isfinite(values))
    if len(t) < 8:
        return float("nan")
    x = (t - t.mean()) / len(values)
    return float(np.std(values[t] - np.polyval(np.polyfit(x, values[t], 2), x)))


def _disturbed(value: Array, now: int) -> bool:
    """Tell whether the load moved about as long ago as it takes to settle."""
    late = now - SETTLED_S - 2
    recent = value[max(0, late - 2) : late + 4]
    before = value[max(0, late - 22) : max(0, late - 4)]
    known = before[np.isfinite(before)]
    if np.isfinite(recent).sum() < 2 or len(known) < 5:
        return False
    noise = float(np.median(np.abs(np.diff(known)))) + 0.1
    return abs(float(np.nanmedian(recent)) - float(np.median(known))) > max(6.0, 10.0 * noise)


def track(grid: Grid, channels: Mapping[Role, Channel], plan: Plan) -> Tracked:
    """Run the tracker over a whole record as a live run would have."""
    tracker = Tracker(channels, plan)
    for second in range(1, grid.n + 1):
        tracker.look(grid.upto(second))
    return tracker.tracked
