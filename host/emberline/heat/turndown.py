"""Turndown: how far the stove was turned down, where a person ran a low-power phase and marked it with notes."""

from uncertainties import UFloat, nominal_value

from emberline.curves.events import EventKind
from emberline.heat.burn import Burn
from emberline.heat.errors import AbsentError

LOW_POWER_NOTE = "low power"
"""A note that begins so opens a low-power phase."""
HIGH_POWER_NOTE = "high power"
"""A note that begins so ends it; else flameout does."""
_SHORTEST_S = 60.0


def turndown(burn: Burn) -> UFloat:
    """Mean firepower before the first low-power phase over that within it (Water Boiling Test 4.2.3, from memory)."""
    lit, flameout = burn.moments.lit, burn.moments.flameout
    notes = burn.moments.of_kind(EventKind.NOTE)
    low = next((note for note in notes if _says(note.evidence, LOW_POWER_NOTE)), None)
    if low is None:
        raise AbsentError(
            f"no low-power phase was run: mark one with the notes '{LOW_POWER_NOTE}' and '{HIGH_POWER_NOTE}'"
        )
    start = burn.moments.of(low)
    ends = [burn.moments.of(note) for note in notes if note.t_s > low.t_s and _says(note.evidence, HIGH_POWER_NOTE)]
    end = min([*ends, flameout], key=nominal_value)
    if min(nominal_value(start - lit), nominal_value(end - start)) < _SHORTEST_S:
        raise AbsentError("the low-power phase and the time before it must both last a minute and lie in the flaming")
    low_w = burn.released_j(start, end) / (end - start)
    if not nominal_value(low_w) > 0:
        raise AbsentError("the load cell shows no loss of mass in the low-power phase")
    return burn.released_j(lit, start) / (start - lit) / low_w


def _says(text: str, words: str) -> bool:
    return text.strip().lower().startswith(words)
