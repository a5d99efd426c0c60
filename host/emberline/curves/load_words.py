"""A person's word about changes of load, brought together with the steps that the load cell saw.

A step is a fact of the load cell whatever it was: it stays masked and sized. What a person says is its kind and its
moment, or that nothing of that kind happened; the steps around are read again with that known.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from uncertainties import ufloat

from emberline.bench.plan import Plan
from emberline.curves.events import Event, EventKind
from emberline.curves.loads import Claim, Loads, tell_apart
from emberline.curves.mass_steps import LEAST_U_G, UNKNOWN_U_G, MassStep
from emberline.curves.words import LOADS, REACH_S, Word

LEAST_POT_G = 50.0
"""A lighter load is no pot with water, whatever a person says of the moment (common practice, no source)."""
_SIGN = {EventKind.POT_ON: 1.0, EventKind.REFUEL: 1.0, EventKind.POT_OFF: -1.0, EventKind.STEP: 0.0}


def loads_by_words(
    steps: Sequence[MassStep], plan: Plan, lit_s: float | None, words: Sequence[Word], *, burning_at_start: bool = False
) -> Loads:
    """Give every step its kind, as a person says and else as `tell_apart` does.

    Args:
        steps: Steps in order of time.
        plan: What is known of pot, water and refuels.
        lit_s: When the fuel caught, None where it has not (yet).
        words: What a person says; those of other kinds than loads are left out.
        burning_at_start: Whether the record began mid-burn.
    """
    loads = tell_apart(steps, plan, lit_s, burning_at_start=burning_at_start)
    words = [word for word in words if word.kind in LOADS]
    if not words:
        return loads
    said = _Said(tuple(steps), loads)
    for word in words:
        said.take(word)
    order = sorted(range(len(said.steps)), key=lambda index: (said.steps[index].start_s, index))
    told = tell_apart(
        [said.steps[index] for index in order],
        plan,
        lit_s,
        burning_at_start=burning_at_start,
        claims={place: said.claims[index] for place, index in enumerate(order) if index in said.claims},
        pot_may_stand_first=said.pot_may_stand_first,
    )
    # A moment at which the load cell saw nothing is no load.
    return replace(told, steps=tuple(steps))


def no_pot_stood(words: Sequence[Word]) -> bool:
    """Tell whether a person took back that the pot was set down, or stood there when the record began."""
    return any(word.kind is EventKind.POT_ON and word.found_s is not None for word in words)


@dataclass
class _Said:
    """What a person says, step by step; steps that nobody saw are put behind those that were seen."""

    steps: tuple[MassStep, ...]
    loads: Loads
    claims: dict[int, Claim] = field(default_factory=dict)
    pot_may_stand_first: bool = True

    def take(self, word: Word) -> None:
        """Take in one word."""
        found = word.nearest(self.loads.events)
        own = self._denied(word) if found is None else self.loads.causes[found]
        if word.kind is EventKind.POT_ON:
            # Who says when the pot was set down, or that it was not, leaves nothing to be guessed.
            self.pot_may_stand_first = False
        if word.event is None:
            self._deny(word.kind, own)
            return
        index = self._seen(word.event, own)
        if index in own:
            self.claims |= {one: Claim(word.kind, word.event) for one in own if one not in self.claims}
            return
        self._deny(word.kind, own)
        if index is None:
            index = len(self.steps)
            self.steps = (*self.steps, _unseen(word.event))
        self.claims[index] = Claim(word.kind, word.event)

    def _deny(self, kind: EventKind, indices: Sequence[int]) -> None:
        taken = None if kind is EventKind.STEP else EventKind.STEP
        for index in indices:
            if index not in self.claims or self.claims[index].denied is not None:
                self.claims[index] = Claim(taken, None, kind)

    def _denied(self, word: Word) -> tuple[int, ...]:
        """Return the step that an earlier word made a mere step, and that this one is about."""
        if word.kind is not EventKind.STEP or word.found_s is None:
            return ()
        return tuple(
            index
            for index, claim in self.claims.items()
            if claim.denied is not None
            and abs(float(self.steps[index].moved_s.nominal_value) - word.found_s) <= REACH_S[EventKind.STEP]
        )

    def _seen(self, event: Event, own: Sequence[int]) -> int | None:
        """Return the step that a person's event was, None where the load cell saw none then."""
        near = []
        for index, step in enumerate(self.steps):
            size = float(step.size_g.nominal_value)
            least_g = LEAST_POT_G if event.kind in (EventKind.POT_ON, EventKind.POT_OFF) else LEAST_U_G
            fits = abs(size) > least_g and size * _SIGN[event.kind] >= 0.0
            apart_s = abs(float(step.moved_s.nominal_value) - event.t_s)
            if apart_s <= REACH_S[event.kind] and index not in self.claims and (fits or index in own):
                near.append((apart_s, index))
        return min(near)[1] if near else None


def _unseen(event: Event) -> MassStep:
    """Return a step at a moment at which the load cell saw nothing: of unknown size."""
    second = int(np.floor(event.t_s))
    moved_s = ufloat(event.t_s, max(event.u_s, 1e-3), "mass_step_time")
    return MassStep(second, second + 1, ufloat(0.0, UNKNOWN_U_G, "mass_step"), 0.0, moved_s)
