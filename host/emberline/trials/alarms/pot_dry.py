"""A pot that is nearly dry: little is left of its water by the live account.

Where that account is too unsure, or the water that was poured in is not known, nothing is said.
"""

from dataclasses import dataclass

from emberline.curves.events import EventKind
from emberline.heat.result import COVERAGE_95
from emberline.trials.alarms.alarm import Danger, Safe, Verdict
from emberline.trials.alarms.look import Look
from emberline.trials.estimates import PotWater

LEAST_G, LEAST_SHARE = 50.0, 0.10
"""Water left at which an alarm is raised: so much, or such a share of what was in it where that is more. A pot of 15 cm
then holds 3 mm, and loses them in ten minutes (common practice, no source)."""
AGAIN = 1.5
"""Times the same at which it is cleared, once water was added: an account alone that is revised clears nothing."""
SURE_SHARE = 0.20
"""Standard uncertainty, as a share of what was in it, beyond which nobody can say what is left."""


class PotDry:
    """Watches the water of the pot that stands."""

    def __init__(self) -> None:
        """Begin without a pot."""
        self._added_g = 0.0
        self._account: _Account | None = None

    def look(self, look: Look) -> Verdict:
        """Look at what is left."""
        if look.pot_is_off:
            return Safe()
        if self._account is None or self._account.water is not look.water:
            # Anew every few seconds, while alarms are looked for every second.
            self._account = _account(look.water)
        if self._account is None or self._account.u_left_g > SURE_SHARE * self._account.filled_g:
            return None
        filled, left, u_g = self._account.filled_g, self._account.left_g, self._account.u_left_g
        added_g = _added_g(look)
        limit_g, left_g = max(LEAST_G, LEAST_SHARE * filled), max(left, 0.0)
        if left_g + added_g < limit_g:
            self._added_g = added_g
            return Danger(
                f"Some {left_g:.0f} ± {COVERAGE_95 * u_g:.0f} g of water are left of {filled:.0f} g: add water or take"
                " the pot off."
            )
        return Safe() if added_g > self._added_g and left_g + added_g > AGAIN * limit_g else None


@dataclass(frozen=True, slots=True, eq=False)
class _Account:
    """What the live account says of the water, in plain numbers."""

    water: PotWater
    filled_g: float
    left_g: float
    u_left_g: float


def _account(water: PotWater | None) -> _Account | None:
    """Return it; None where nobody knows what is left."""
    left_g = None if water is None else water.left_g
    if water is None or water.filled_g is None or left_g is None:
        return None
    return _Account(water, float(water.filled_g.nominal_value), float(left_g.nominal_value), float(left_g.std_dev))


def _added_g(look: Look) -> float:
    """Return what was laid on since the pot was set on and may be water."""
    since_s = look.pot_on_s or 0.0
    return sum(
        max(float(event.size_g.nominal_value), 0.0)
        for event in look.loads.events
        if event.kind is EventKind.STEP and event.size_g is not None and event.t_s > since_s
    )
