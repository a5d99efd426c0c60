"""The water probe is out of the water: its curve does what water in a pot that stands cannot do.

Water cools by a tenth or two of a kelvin a second at most, and never gets hotter than it boils. A probe that hangs in
the air follows that with its own lag, many times faster; one that has slid to the flame, or stands in a dry pot, reads
more than the boiling point. Whoever lifts the pot, or pours cold water in, moves the load as well.
"""

from collections.abc import Sequence
from math import hypot

from emberline.bench.channels import Role
from emberline.trials.alarms.alarm import Danger, Safe, Verdict
from emberline.trials.alarms.look import Look, middle

FELL_K, WITHIN_S = 12.0, 40
"""A fall that no water takes within that time while its pot stands."""
STAYS_S, BEFORE_S = 15, 20
"""Seconds for which it must be down, and from which its level before is taken."""
ABOVE_K = 8.0
"""Excess over the boiling point, beside the probe's own uncertainty, that no water has."""
SETTLED_S = 60
"""After the pot was set on, the probe may still be on its way into the water."""
WARMED_C = 45.0
"""Water less warm than this may be told from air by nobody."""
LIFTED_G, ADDED_G = 30.0, 10.0
"""Changes of the load, beside what burns and steams away, that explain a fall: a pot lifted, water poured in."""
MOST_LOSS_G_S = 0.6
BACK_K = 6.0
"""Distance from its level before, or from boiling, within which it is back."""


class ProbeOut:
    """Watches the water's temperature."""

    def __init__(self) -> None:
        """Begin with the probe in its place."""
        self._before_c: float | None = None
        self._since: int | None = None

    def look(self, look: Look) -> Verdict:
        """Look at the newest seconds."""
        pot_on_s = look.pot_on_s
        anew = self._since is not None and pot_on_s is not None and pot_on_s > self._since
        if look.pot_is_off or anew:
            self._before_c = self._since = None
            return Safe()
        if not _weighed(look):
            return None
        now = look.recent(Role.WATER, STAYS_S)
        if len(now) < STAYS_S // 2:
            return None
        return self._danger(look, now, pot_on_s) if self._before_c is None else self._back(look, now)

    def _danger(self, look: Look, now: Sequence[float], pot_on_s: float | None) -> Verdict:
        settled_s = look.second - (pot_on_s if pot_on_s is not None else 0.0)
        if settled_s < SETTLED_S + WITHIN_S + STAYS_S + BEFORE_S:
            return None
        before = look.recent(Role.WATER, STAYS_S + WITHIN_S + BEFORE_S, STAYS_S + WITHIN_S)
        lowest_c, highest_c = min(now), max(now)
        boiling_c = float(look.boiling_c.nominal_value)
        # The bound itself, which takes time to work out, lies above that.
        if lowest_c > boiling_c + ABOVE_K and lowest_c > _most_c(look):
            self._before_c, self._since = boiling_c, look.second
            return Danger(
                f"The probe reads {lowest_c:.0f} °C, {lowest_c - boiling_c:.0f} K more than water"
                " can have here: it is near the flame, or the pot is dry."
            )
        if len(before) < BEFORE_S // 2:
            return None
        before_c = middle(before)
        fell = before_c > WARMED_C and before_c - highest_c >= FELL_K
        if not fell or before_c >= _most_c(look) or _handled(look):
            return None
        self._before_c, self._since = before_c, look.second
        return Danger(
            f"The probe fell from {before_c:.0f} °C to {highest_c:.0f} °C while the pot stands and its weight stays:"
            " no water cools so fast. It hangs in the air, or its lead is loose."
        )

    def _back(self, look: Look, now: Sequence[float]) -> Verdict:
        assert self._before_c is not None
        level_c = middle(now)
        boiling_c = float(look.boiling_c.nominal_value)
        back = self._before_c - BACK_K < level_c < boiling_c + BACK_K
        if back:
            self._before_c = self._since = None
            return Safe()
        return None


def _most_c(look: Look) -> float:
    """Return the most that the probe may read in water."""
    boiling_c = float(look.boiling_c.nominal_value)
    u_k = hypot(look.boiling_c.std_dev, look.channels[Role.WATER].u_reading(boiling_c))
    return boiling_c + ABOVE_K + 2.0 * u_k


def _weighed(look: Look) -> bool:
    """Tell whether a load cell shows that the pot stands where it stood."""
    return bool(len(look.recent(Role.MASS, STAYS_S)) or len(look.recent(Role.POT_MASS, STAYS_S)))


def _handled(look: Look) -> bool:
    """Tell whether the load changed meanwhile by more than what burns and steams away, or cannot be compared."""
    role = Role.POT_MASS if Role.POT_MASS in look.channels else Role.MASS
    reach = STAYS_S + WITHIN_S + BEFORE_S
    before, now = look.recent(role, reach, STAYS_S + WITHIN_S), look.recent(role, STAYS_S)
    if len(before) < BEFORE_S // 2 or len(now) < STAYS_S // 2:
        return True
    change_g = middle(now) - middle(before)
    return change_g > ADDED_G or change_g < -(LIFTED_G + MOST_LOSS_G_S * reach)
