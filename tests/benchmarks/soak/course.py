"""How a process's needs go on over time."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median

import numpy as np

WARM_UP = 0.3
"""Share of the time that is left out of slopes: caches fill, the first summary loads its libraries."""


@dataclass
class Course:
    """Figures of one daemon by time.

    Attributes:
        t_s: When each was taken, real seconds.
        rss_mb: Resident memory.
        files: Open files.
        threads: Threads.
        journal_mb: Size of the store's journal.
        lag_s: Longest time for which the event loop was held up so far.
    """

    t_s: list[float] = field(default_factory=list)
    rss_mb: list[float] = field(default_factory=list)
    files: list[int] = field(default_factory=list)
    threads: list[int] = field(default_factory=list)
    journal_mb: list[float] = field(default_factory=list)
    lag_s: list[float] = field(default_factory=list)

    def slope_mb_h(self) -> float:
        """Return the memory's slope by least squares after the warm-up, MB an hour."""
        return self._line()[0]

    def u_slope_mb_h(self) -> float:
        """Return its standard uncertainty from the scatter about the line, neighbours in time taken as independent."""
        return self._line()[1]

    def growth(self, values: Sequence[int]) -> float:
        """Return by how much a count's median grew from the first to the last third after the warm-up."""
        warm = list(values[self._warm() :])
        third = max(1, len(warm) // 3)
        return median(warm[-third:]) - median(warm[:third])

    def _warm(self) -> int:
        return min(int(WARM_UP * len(self.t_s)), max(0, len(self.t_s) - 1))

    def _line(self) -> tuple[float, float]:
        t_h = np.array(self.t_s[self._warm() :]) / 3600.0
        mb = np.array(self.rss_mb[self._warm() :])
        if len(t_h) < 3:
            return float("nan"), float("nan")
        away_h = t_h - t_h.mean()
        spread = float((away_h**2).sum())
        slope = float((away_h * mb).sum()) / spread
        left = mb - mb.mean() - slope * away_h
        return slope, float(np.sqrt((left**2).sum() / (len(t_h) - 2) / spread))
