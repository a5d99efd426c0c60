"""How often something comes that says nothing of its pace."""

from collections import deque
from dataclasses import dataclass, field
from statistics import median

INTERVALS = 8
CHANGED = 1.5
"""A pace is told anew when it is so many times another."""


@dataclass
class Pace:
    """The time from one to the next, as far as it is known.

    Attributes:
        told_s: The pace that was told last.
    """

    told_s: float = 1.0
    _last_ns: int | None = None
    _intervals_s: deque[float] = field(default_factory=lambda: deque(maxlen=INTERVALS))

    def note(self, t_ns: int) -> bool:
        """Take note of one; return whether the pace is another than was told."""
        if self._last_ns is not None and t_ns > self._last_ns:
            self._intervals_s.append((t_ns - self._last_ns) * 1e-9)
        self._last_ns = max(t_ns, self._last_ns or t_ns)
        if len(self._intervals_s) < INTERVALS // 2:
            return False
        pace_s = median(self._intervals_s)
        if self.told_s / CHANGED < pace_s < self.told_s * CHANGED:
            return False
        self.told_s = pace_s
        return True
