"""The load is gone: it fell at once by more than anything that a hand may have lifted, and stays away.

What may be lifted is what was set down: the pot with its water, and whatever else was laid on since. Where a pot of
unknown weight may have stood there from the start, only a fall to the empty cell or below tells.
"""

from emberline.bench.channels import Role
from emberline.curves.events import EventKind
from emberline.heat.result import COVERAGE_95
from emberline.trials.alarms.alarm import Danger, Safe, Verdict
from emberline.trials.alarms.look import Look, grams, middle

STAYS_S, FALL_S, BEFORE_S = 8, 12, 15
"""Seconds for which it must be gone, within which it must have fallen, and from which its level before is taken."""
LEAST_G = 60.0
"""Least fall beyond what may be lifted: fuel that a poke throws out, a stove's ring, are less (common practice)."""
LEAST_SHARE = 0.5
"""Least share, beyond what may be lifted, of what would be left then: a person who lifts a part of the stove to feed it
takes less."""
EMPTY_G = 5.0
BACK_SHARE = 0.5
"""Share of the fall at whose return the load is back."""


class LoadGone:
    """Watches the load."""

    def __init__(self) -> None:
        """Begin with the load in its place."""
        self._fallen: tuple[float, float] | None = None

    def look(self, look: Look) -> Verdict:
        """Look at the newest seconds."""
        after = look.recent(Role.MASS, STAYS_S)
        if len(after) < STAYS_S - 2:
            return None
        if self._fallen is not None:
            before_g, fall_g = self._fallen
            if middle(after) > before_g - (1.0 - BACK_SHARE) * fall_g:
                self._fallen = None
                return Safe()
            return None
        if not look.burns:
            return None
        before = look.recent(Role.MASS, STAYS_S + FALL_S + BEFORE_S, STAYS_S + FALL_S)
        if len(before) < BEFORE_S // 2:
            return None
        # The heaviest of the seconds after, so that a load which is still falling, or comes back, is waited for.
        before_g, after_g = middle(before), middle(after)
        words = _gone(look, before_g, max(after))
        if not words:
            return None
        self._fallen = before_g, before_g - after_g
        return Danger(f"The load fell from {grams(before_g)} to {grams(after_g)} and stays there: {words}.")


def _gone(look: Look, before_g: float, after_g: float) -> str:
    """Say by what it is told that the load is gone; nothing where it may be there."""
    fall_g = before_g - after_g
    if fall_g < LEAST_G:
        return ""
    liftable_g = _liftable_g(look, look.second - STAYS_S - FALL_S - BEFORE_S)
    if liftable_g is not None:
        beyond_g, rest_g = fall_g - liftable_g, before_g - liftable_g
        if beyond_g > max(LEAST_G, LEAST_SHARE * rest_g):
            if liftable_g < 1.0:
                return "nothing stood on the stove that may have been lifted"
            return f"more than the {grams(liftable_g)} of pot and water that may have been lifted"
        return ""
    if after_g < EMPTY_G + 2.0 * look.channels[Role.MASS].u_bias:
        return "no more than the empty cell weighs"
    return ""


def _liftable_g(look: Look, since_s: int) -> float | None:
    """Return the most that a hand may have lifted since then; None where a pot of unknown weight may have stood."""
    own_cell = Role.POT_MASS in look.channels
    stood = next((stay for stay in look.stays if stay.off is None or stay.off.end_s > since_s), None)
    on = stood.on if stood is not None else None
    if on is not None and not own_cell:
        laid_g = sum(max(float(step.size_g.nominal_value), 0.0) for step in look.loads.steps if step.t_s >= on.t_s)
        return laid_g - _surely_lost_g(look)
    others_g = sum(
        max(float(event.size_g.nominal_value), 0.0)
        for event in look.loads.events
        if event.kind is EventKind.STEP and event.size_g is not None
    )
    if own_cell or (look.stays and (stood is None or on is not None)):
        return others_g
    pot = look.plan.pot
    if pot is None:
        # Who described the fuel and no pot has none.
        return others_g if look.plan.fuel.mass_g is not None else None
    water_g = pot.visit(0).water_g
    if pot.tare_g is None or water_g is None:
        return None
    lid_g = float(pot.lid_g.nominal_value) if pot.lid_g is not None else 0.0
    return others_g + float(pot.tare_g.nominal_value) + float(water_g.nominal_value) + lid_g


def _surely_lost_g(look: Look) -> float:
    """Return what has surely left the pot since it was set on."""
    if look.water is None:
        return 0.0
    lost = look.water.lost_g
    return max(float(lost.nominal_value) - COVERAGE_95 * float(lost.std_dev), 0.0)
