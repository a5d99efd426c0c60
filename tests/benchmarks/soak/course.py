"""How a process's needs go on over time."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import NamedTuple

from scipy import stats

WARM_UP = 1 / 3
"""Share of the time that is left out of slopes: caches fill, the first summaries load their libraries."""
CONFIDENCE = 0.95


class Slope(NamedTuple):
    """How steeply something rises, MB an hour, and the interval in which the slope lies with `CONFIDENCE`."""

    mb_h: float
    low_mb_h: float
    high_mb_h: float


@dataclass
class Course:
    """Figures of one daemon by time.

    Attributes:
        t_s: When each was taken, real seconds.
        burn: Number of the burn that was under way then; it grows by 1 from burn to burn.
        rss_mb: Resident memory of the daemon's own process.
        tree_mb: The same with the processes that it has started for good.
        files: Open files.
        threads: Threads.
        processes: The daemon's process and those that it has started.
        journal_mb: Size of the store's journal.
        lag_s: Longest time for which the event loop was held up so far.
    """

    t_s: list[float] = field(default_factory=list)
    burn: list[int] = field(default_factory=list)
    rss_mb: list[float] = field(default_factory=list)
    tree_mb: list[float] = field(default_factory=list)
    files: list[int] = field(default_factory=list)
    threads: list[int] = field(default_factory=list)
    processes: list[int] = field(default_factory=list)
    journal_mb: list[float] = field(default_factory=list)
    lag_s: list[float] = field(default_factory=list)

    def slope(self, memory_mb: Sequence[float]) -> Slope:
        """Return how memory rises after the warm-up: the median of the slopes between any two burns' lowest values.

        What a burn takes and gives back makes peaks; what is never given back raises the lowest values. They are those
        of whole burns, however long one takes: where one takes longer than a minute, that would hold a part of it only.
        The estimate is Theil's and Sen's, the interval Sen's, which supposes that the burns scatter independently.
        """
        floors: dict[int, tuple[float, float]] = {}
        for burn, t_s, mb in zip(self.burn, self.t_s, memory_mb, strict=True):
            floors[burn] = min(floors.get(burn, (mb, t_s)), (mb, t_s))
        warm = self._warm()
        whole = [floors[burn] for burn in sorted(set(self.burn[warm:]) - {*self.burn[:warm], *self.burn[-1:]})]
        if len(whole) < 3:
            return Slope(float("nan"), float("nan"), float("nan"))
        found = stats.theilslopes([mb for mb, _ in whole], [t_s / 3600.0 for _, t_s in whole], CONFIDENCE)
        return Slope(float(found.slope), float(found.low_slope), float(found.high_slope))

    def growth(self, values: Sequence[int]) -> float:
        """Return by how much a count's median grew from the first to the last third after the warm-up."""
        warm = list(values[self._warm() :])
        third = max(1, len(warm) // 3)
        return median(warm[-third:]) - median(warm[:third])

    def _warm(self) -> int:
        return min(int(WARM_UP * len(self.t_s)), max(0, len(self.t_s) - 1))
