"""A flame that burns longer than a person has said that it should: the fire may have been forgotten."""

from emberline.trials.alarms.alarm import Danger, Safe, Verdict
from emberline.trials.alarms.look import Look


class FlameLong:
    """Watches how long the flame has burnt; only its end clears the alarm."""

    def __init__(self, longest_s: float) -> None:
        """Tell a flame that burns longer than that, seconds."""
        self._longest_s = longest_s

    def look(self, look: Look) -> Verdict:
        """Look at how long it has burnt by now."""
        if look.flame_s is None:
            return Safe()
        if look.second - look.flame_s <= self._longest_s:
            return None
        return Danger(
            f"It has burnt for {self._longest_s / 60.0:.0f} min without going out: see that somebody is beside it. A"
            " fire is never left alone, whatever watches it."
        )
