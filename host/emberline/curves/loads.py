"""What a step of the load was: pot on, pot off, refuel, or a step that is none of these.

The plan's facts decide where it has them: the pot's tare and water, weighed refuels, the lid. Without them size and
order do: what is far heavier than a handful of fuel is a pot, and a pot can only be lifted if it stood there. What fits
nothing stays an unexplained `step` and is reported as one.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from uncertainties import ufloat

from emberline.bench.plan import Plan
from emberline.curves.disturbances import MOST_LOSS_G_S
from emberline.curves.events import Event, EventKind
from emberline.curves.mass_steps import MIN_STEP_G, UNKNOWN_U_G, MassStep
from emberline.curves.passing_loads import laid_on_and_taken
from emberline.curves.pot_loads import (
    LEAST_FILLED,
    POT_G,
    least_pot_g,
    matches,
    most_pot_g,
    spare_g,
)
from emberline.curves.weighed_refuels import misfit

HAND_S = 0.7
"""Standard uncertainty of a handling's moment for want of a sharper meaning.

A pot is taken to be on from its first touch by one, from letting go by another, which is up to 1.2 s either way
(common practice, no source).
"""
PORTIONS_S = 20.0
"""Seconds within which additions are one refuel that came in pieces (common practice, no source)."""
GUST = 10.0
"""Excursion, over the curve's scatter, that no gust is taken for: gusts are far from normally distributed."""
LEAST_FUEL_G = 5.0
"""Least unplanned addition that is taken for fuel; a tugging lead may feign less (common practice, no source)."""
SPOONFULS = 3
"""Additions of like weight to a fire, apart from each other, that are fuel however light: no lead tugs as often."""
KINDLING_S = 20.0
"""Seconds after lighting within which additions still belong to the first fill (common practice, no source)."""
SEEN_S = 3
"""Least record before an addition that shows what it was added to; a record may begin while the bench is loaded."""
LEAST_KNOCK_G = 15.0
"""Largest movement of the load from which on a disturbance that left nothing behind is worth an event."""


@dataclass(frozen=True, slots=True)
class Stay:
    """A stay of the pot by its steps; None where the pot stood there before the record or was never lifted."""

    on: MassStep | None
    off: MassStep | None

    def window(self, end_s: float) -> tuple[float, float]:
        """Return the seconds from pot on to pot off."""
        on_s = self.on.t_s if self.on is not None else 0.0
        return on_s, float(self.off.start_s) if self.off is not None else end_s


@dataclass(frozen=True, slots=True)
class Loads:
    """All steps of a record, told apart.

    Attributes:
        events: One event a step, in order of time.
        stays: The pot's stays, in order.
        refuels: The refuelling steps, in order.
        steps: All steps, those too doubtful for an event among them.
        causes: Indices of the steps that each event came of; none for a pot that stood there already.
    """

    events: tuple[Event, ...]
    stays: tuple[Stay, ...]
    refuels: tuple[MassStep, ...]
    steps: tuple[MassStep, ...]
    causes: tuple[tuple[int, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Claim:
    """What a person says that a step was.

    Attributes:
        kind: Its kind; None where it is no event at all.
        event: The event as the person says it was; None where the moment is the step's own.
        denied: The kind that it was not.
    """

    kind: EventKind | None
    event: Event | None
    denied: EventKind | None = None


def tell_apart(
    steps: Sequence[MassStep],
    plan: Plan,
    lit_s: float | None,
    *,
    burning_at_start: bool = False,
    claims: Mapping[int, Claim] = MappingProxyType({}),
    pot_may_stand_first: bool = True,
) -> Loads:
    """Give every step its kind.

    Args:
        steps: Steps in order of time.
        plan: What is known of pot, water and refuels.
        lit_s: When the fuel caught, None where it has not (yet).
        burning_at_start: Whether the record began mid-burn.
        claims: What a person says of some of the steps, by index.
        pot_may_stand_first: Whether the pot may have stood there when the record began.
    """
    stands_first = pot_may_stand_first and _pot_stands_first(steps, plan)
    reader = _Reader(plan, -KINDLING_S if burning_at_start else lit_s, stands_first)
    passing = laid_on_and_taken(steps, plan)
    for index, step in enumerate(steps):
        reader.read(index, step, passing=passing.get(index), claim=claims.get(index))
    return reader.loads(tuple(steps))


def with_standing_pot(loads: Loads) -> Loads:
    """Return the loads of a record in which a planned pot stood on the stove all the time."""
    event = _stood_there("its water warmed, and no step of the load set it down or lifted it")
    return Loads((event, *loads.events), (Stay(None, None),), loads.refuels, loads.steps, ((), *loads.causes))


def _stood_there(why: str) -> Event:
    return Event(EventKind.POT_ON, 0.0, 1.0, f"the pot stood on the stove when the record began: {why}")


def _pot_stands_first(steps: Sequence[MassStep], plan: Plan) -> bool:
    """Tell whether the pot stood there before the record: it is lifted without ever being set down."""
    heaviest, most_g = 0.0, most_pot_g(plan.pot)
    for step in steps:
        size = step.size_g.nominal_value
        if abs(size) < 5.0 * step.size_g.std_dev or -size > most_g:
            continue
        if size > 0:
            # What is lifted with a pot that was set down may have been laid on it since: a lid.
            heaviest = max(heaviest + size if heaviest >= least_pot_g(plan.pot) else 0.0, size)
        elif -size > least_pot_g(plan.pot) and heaviest < 0.9 * -size:
            return True
        elif -size > least_pot_g(plan.pot):
            return False
    return False


class _Reader:
    """Reads steps in order and remembers what stands on the stove."""

    def __init__(self, plan: Plan, lit_s: float | None, pot_stands: bool) -> None:
        self._plan, self._lit_s = plan, lit_s
        self._events: list[Event] = []
        self._causes: list[tuple[int, ...]] = []
        self._index = 0
        self._stays: list[Stay] = [Stay(None, None)] if pot_stands else []
        self._refuels: list[MassStep] = []
        self._fed: list[MassStep] = []
        self._pot_g: float | None = self._planned_pot_g(0) if pot_stands else None
        self._pot_on = pot_stands
        # A lid that the plan weighs may lie on a pot that stood there already.
        lid_g = plan.pot.lid_g if pot_stands and plan.pot is not None and plan.pot.lid else None
        self._lid_g = float(lid_g.nominal_value) if lid_g is not None else 0.0
        self._taken_g = 0.0
        self._came_with_lid = False
        if pot_stands:
            self._events.append(_stood_there("it was lifted without having been set down"))
            self._causes.append(())

    def loads(self, steps: tuple[MassStep, ...]) -> Loads:
        return Loads(tuple(self._events), tuple(self._stays), tuple(self._refuels), steps, tuple(self._causes))

    def read(self, index: int, step: MassStep, *, passing: str | None = None, claim: Claim | None = None) -> None:
        self._index = index
        size = step.size_g.nominal_value
        if claim is not None:
            self._claimed(step, claim)
        elif abs(size) < max(MIN_STEP_G, 5.0 * step.size_g.std_dev):
            if step.excursion_g >= max(LEAST_KNOCK_G, 10.0 * step.size_g.std_dev, GUST * step.scatter_g):
                self._add(EventKind.STEP, step, f"a disturbance of up to {step.excursion_g:.0f} g that left no load")
        elif passing and not (self._pot_on and self._is_lid(abs(size))):
            self._add(EventKind.STEP, step, f"a load of {abs(size):.1f} g {passing}")
        elif size > 0:
            self._added(step, size)
        else:
            self._removed(step, -size)

    def _claimed(self, step: MassStep, claim: Claim) -> None:
        """Take a step for what a person says that it was."""
        kind, event = claim.kind, claim.event
        size = float(step.size_g.nominal_value)
        shown = f"load {'rose' if size > 0 else 'fell'} by {abs(size):.1f} g" if step.sized else ""
        if kind is not None and event is None:
            denied = "" if claim.denied is None else f"; a person says that it was no {claim.denied.replace('_', ' ')}"
            self._add(kind, step, shown + denied)
        if kind is None or event is None:
            return
        at = replace(step, moved_s=ufloat(event.t_s, max(event.u_s, 1e-3), "mass_step_time"))
        if kind is EventKind.POT_ON:
            if self._pot_on:
                # It must have been lifted before; nobody saw when, nor with how much in it.
                self._stays[-1] = Stay(self._stays[-1].on, replace(at, size_g=ufloat(0.0, UNKNOWN_U_G, "mass_step")))
            self._pot_on, self._pot_g, self._lid_g = True, size or None, 0.0
            self._stays.append(Stay(at, None))
        elif kind is EventKind.POT_OFF:
            self._pot_on, self._pot_g, self._lid_g = False, -size or None, 0.0
            self._stays[-1:] = [Stay(self._stays[-1].on if self._stays else None, at)]
        elif kind is EventKind.REFUEL and step.sized:
            self._refuels.append(step)
        if self._events and self._events[-1].by_person and self._events[-1].t_s == event.t_s:
            # Another portion of what was said.
            before = self._events[-1].size_g
            self._events[-1] = replace(self._events[-1], size_g=step.size_g if before is None else before + step.size_g)
            self._causes[-1] = (*self._causes[-1], self._index)
            return
        evidence = f"{event.evidence}; {shown or 'the load cell shows nothing then'}"
        self._events.append(replace(event, evidence=evidence, size_g=step.size_g if step.sized else None))
        self._causes.append((self._index,))

    def _added(self, step: MassStep, size: float) -> None:
        if self._burning(step) and (not self._fed or step.start_s - self._fed[-1].end_s > PORTIONS_S):
            self._fed.append(step)
        if not self._pot_on and self._is_pot(size):
            self._pot_on, self._pot_g, self._lid_g, self._taken_g = True, size, 0.0, 0.0
            self._stays.append(Stay(step, None))
            planned = self._planned_pot_g(len(self._stays) - 1)
            self._came_with_lid = self._has_lid_on(size, planned)
            words = f"load rose by {size:.1f} g"
            self._add(EventKind.POT_ON, step, words + (f"; pot and water planned: {planned:.0f} g" if planned else ""))
        elif self._pot_on and self._is_lid(size) and not self._came_with_lid:
            self._lid_g = size
            self._add(EventKind.STEP, step, f"load rose by {size:.1f} g with the pot on, as a lid does")
        elif self._is_another_portion(step):
            self._add_portion(step)
        elif size < LEAST_FUEL_G and not (self._is_planned_refuel(size) or self._is_spoonful(size)):
            self._add(EventKind.STEP, step, f"load rose by {size:.1f} g, too little for fuel")
        elif self._burning(step):
            self._refuels.append(step)
            self._add(EventKind.REFUEL, step, f"load rose by {size:.1f} g while burning")
        else:
            self._add(EventKind.STEP, step, f"load rose by {size:.1f} g before the fire burnt")

    def _removed(self, step: MassStep, size: float) -> None:
        if self._pot_on:
            self._take_back_lid(step, size)
        if self._pot_on and self._lid_g and matches(size, self._lid_g) and size < self._least_with_water_g():
            self._lid_g = 0.0
            self._add(EventKind.STEP, step, f"load fell by {size:.1f} g, as much as the lid weighs")
        elif self._pot_on and self._can_be_pot_off(step, size):
            self._pot_on, self._lid_g, self._taken_g = False, 0.0, 0.0
            self._stays[-1] = Stay(self._stays[-1].on, step)
            self._pot_g = size
            self._add(EventKind.POT_OFF, step, f"load fell by {size:.1f} g")
        elif self._pot_on and self._is_lid(size):
            self._taken_g += size
            self._came_with_lid = False
            self._add(EventKind.STEP, step, f"load fell by {size:.1f} g with the pot on, as a lid does")
        else:
            self._taken_g += size
            self._add(EventKind.STEP, step, f"load fell by {size:.1f} g, unexplained")

    def _take_back_lid(self, step: MassStep, size: float) -> None:
        """Take an addition for a lid where more is lifted than the pot weighed, by as much as had been added."""
        on = self._stays[-1].on
        if self._pot_g is None or on is None or self._lid_g or size <= self._pot_g + spare_g(self._pot_g):
            return
        steam_g = MOST_LOSS_G_S * (float(step.start_s) - on.end_s)
        for index, event in enumerate(self._events):
            added = next((fuel for fuel in self._refuels if fuel.size_g is event.size_g), None)
            if added is None or added.start_s < on.end_s or event.by_person:
                continue
            load = self._pot_g + float(added.size_g.nominal_value)
            if load - steam_g - spare_g(load) <= size <= load + spare_g(load):
                self._refuels.remove(added)
                self._lid_g = float(added.size_g.nominal_value)
                words = f"load rose by {self._lid_g:.1f} g, lifted with the pot as a lid is"
                self._events[index] = replace(event, kind=EventKind.STEP, evidence=words)
                return

    def _is_pot(self, size: float) -> bool:
        pot = self._plan.pot
        if pot is not None and pot.tare_g is not None:
            planned = self._planned_pot_g(len(self._stays))
            if planned is not None and matches(size, planned):
                return True
            # The person filled another amount than planned; no handful of fuel weighs as much as a filled pot.
            tare_g = float(pot.tare_g.nominal_value)
            least_g = tare_g if planned is None else tare_g + LEAST_FILLED * (planned - tare_g)
            return size > least_g and not self._is_planned_refuel(size)
        if self._pot_g is not None and 0.5 * self._pot_g < size < 2.0 * self._pot_g:
            return not self._is_planned_refuel(size)
        return size >= POT_G and not self._is_planned_refuel(size)

    def _is_lid(self, size: float) -> bool:
        pot = self._plan.pot
        if self._is_planned_refuel(size):
            return False
        if pot is None:
            return False
        if pot.lid_g is not None:
            return matches(size, float(pot.lid_g.nominal_value))
        return pot.lid and size < 0.6 * least_pot_g(pot)

    def _has_lid_on(self, size: float, planned_g: float | None) -> bool:
        """Tell whether a pot that is set down weighs what was planned and its lid, rather than that alone."""
        pot = self._plan.pot
        if pot is None or pot.lid_g is None or planned_g is None:
            return False
        return abs(size - planned_g - float(pot.lid_g.nominal_value)) < abs(size - planned_g)

    def _is_planned_refuel(self, size: float) -> bool:
        masses = [float(refuel.mass_g.nominal_value) for refuel in self._plan.refuels if refuel.mass_g is not None]
        return any(abs(size - mass) <= max(6.0, 0.06 * mass) for mass in masses)

    def _is_spoonful(self, size: float) -> bool:
        """Tell whether the fire has been fed as lightly before."""
        return sum(0.5 * size < float(fed.size_g.nominal_value) < 2.0 * size for fed in self._fed) >= SPOONFULS

    def _is_another_portion(self, step: MassStep) -> bool:
        """Tell whether an addition belongs to the refuel just before it."""
        if not self._events or self._events[-1].kind is not EventKind.REFUEL or self._events[-1].by_person:
            return False
        if step.start_s - self._refuels[-1].end_s > PORTIONS_S:
            return False
        weighed = [refuel.mass_g for refuel in self._plan.refuels if refuel.mass_g is not None]
        before_g = self._events[-1].size_g
        if len(weighed) < 2 or before_g is None:
            return True
        apart, together = (
            sum(min(misfit(part_g, mass_g) for mass_g in weighed) for part_g in parts)
            for parts in ((before_g, step.size_g), (before_g + step.size_g,))
        )
        return together <= apart

    def _add_portion(self, step: MassStep) -> None:
        """Put a further portion to the last refuel, whose moment is the middle of what was added."""
        refuel = self._events[-1]
        assert refuel.size_g is not None
        self._causes[-1] = (*self._causes[-1], self._index)
        self._refuels.append(step)
        total_g = refuel.size_g + step.size_g
        share = float(step.size_g.nominal_value / total_g.nominal_value)
        apart_s = float(step.moved_s.nominal_value) - refuel.t_s
        # Portions cannot be said to have come at one moment: the spread of what was added about its middle.
        u_s = float(np.hypot(refuel.u_s, apart_s * (share * (1.0 - share)) ** 0.5))
        words = f"load rose by {total_g.nominal_value:.1f} g in portions while burning"
        self._events[-1] = Event(EventKind.REFUEL, refuel.t_s + share * apart_s, u_s, words, total_g)

    def _least_with_water_g(self) -> float:
        """Return the least weight of the pot that stands, where lids may weigh as much as its tare."""
        if self._pot_g is None:
            return most_pot_g(self._plan.pot)
        return max(least_pot_g(self._plan.pot), 0.5 * self._pot_g)

    def _can_be_pot_off(self, step: MassStep, size: float) -> bool:
        load = (self._pot_g or np.inf) + self._lid_g
        if size > load + spare_g(load):
            return False
        on = self._stays[-1].on
        if self._pot_g and on is not None:
            # Where less than the pot with its water is lifted, the rest had time to boil away, or was taken before.
            steam_g = MOST_LOSS_G_S * (float(step.start_s) - on.end_s)
            if size < load - self._taken_g - steam_g - spare_g(load):
                return False
        pot = self._plan.pot
        if pot is not None and pot.tare_g is not None:
            return size >= least_pot_g(pot)
        return size > 0.3 * load if np.isfinite(load) else size >= POT_G

    def _burning(self, step: MassStep) -> bool:
        return self._lit_s is not None and step.start_s >= max(self._lit_s + KINDLING_S, SEEN_S)

    def _planned_pot_g(self, index: int) -> float | None:
        pot = self._plan.pot
        if pot is None or pot.tare_g is None:
            return None
        water_g = pot.visit(index).water_g
        return None if water_g is None else float(pot.tare_g.nominal_value + water_g.nominal_value)

    def _add(self, kind: EventKind, step: MassStep, evidence: str) -> None:
        t_s = float(step.moved_s.nominal_value)
        u_s = float(np.hypot(HAND_S, step.moved_s.std_dev))
        self._events.append(Event(kind, t_s, u_s, evidence, step.size_g))
        self._causes.append((self._index,))
