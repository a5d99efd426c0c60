"""A load cell that gets too hot: its readings drift first, then it is damaged for good."""

from emberline.bench.channels import Role
from emberline.trials.alarms.alarm import Danger, Safe, Verdict
from emberline.trials.alarms.look import Look, middle

LASTS_S = 10
"""Time for which it must be hot: the median of these seconds counts."""
COOLER_K = 5.0
"""By so much it must be cooler than the limit before the alarm is cleared: a cell cools slowly, and warms as slowly."""


class CellHeat:
    """Watches the load cell's temperature."""

    def __init__(self, hottest_c: float) -> None:
        """Tell what is hotter than that, degrees Celsius."""
        self._hottest_c = hottest_c

    def look(self, look: Look) -> Verdict:
        """Look at the newest seconds."""
        values = look.recent(Role.CELL_TEMPERATURE, LASTS_S)
        if len(values) < LASTS_S // 2:
            return None
        cell_c = middle(values)
        if cell_c > self._hottest_c:
            return Danger(
                f"The load cell is at {cell_c:.0f} °C, above {self._hottest_c:.0f} °C: shield it from the stove, or"
                " take the stove off. What it weighs drifts with its warmth."
            )
        return Safe() if cell_c < self._hottest_c - COOLER_K else None
