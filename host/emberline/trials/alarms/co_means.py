"""Running means of carbon monoxide over minutes, hours and a day, and how much of each was measured."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

BIN_S = 10
"""Means are made of pieces of so many seconds, each weighing the same however many readings it has."""
BIN_NS = BIN_S * 1_000_000_000
LONGEST_S = 24 * 3_600
HELD_S = 60
"""A reading stands for the time since the one before it, so long at most: what lies further apart is a gap."""
_BINS = LONGEST_S // BIN_S
_HELD = HELD_S // BIN_S


@dataclass(frozen=True, slots=True)
class Window:
    """What is known of a stretch of time up to now.

    Attributes:
        mean_ppm: Mean over what was measured; NaN where nothing was.
        least_ppm: Mean over the whole stretch as if there had been none where nothing was measured.
        measured: Share of the stretch that was measured.
    """

    mean_ppm: float
    least_ppm: float
    measured: float


class CoMeans:
    """The last day of a sensor's readings, ten seconds at a time."""

    def __init__(self) -> None:
        """Begin without readings."""
        self._number = np.full(_BINS, -1, dtype=np.int64)
        self._sum, self._count = np.zeros(_BINS), np.zeros(_BINS, dtype=np.int64)
        self._newest: int | None = None

    def take(self, t_ns: NDArray[np.int64], ppm: NDArray[np.float64]) -> None:
        """Take in readings, also such as come late; those that are not finite count as not measured.

        Args:
            t_ns: (n,) times, UTC nanoseconds, not decreasing.
            ppm: (n,) readings.
        """
        known = np.isfinite(ppm)
        numbers, where = np.unique(t_ns[known] // BIN_NS, return_inverse=True)
        sums, counts = np.bincount(where, ppm[known]), np.bincount(where)
        for number, total, count in zip(numbers.tolist(), sums.tolist(), counts.tolist(), strict=True):
            self._hold(number, total / count)
            self._add(number, total, count)

    def add(self, earlier: "CoMeans") -> None:
        """Take in what another one knows, made from other readings."""
        for place in np.flatnonzero(earlier._count > 0).tolist():
            self._add(int(earlier._number[place]), float(earlier._sum[place]), int(earlier._count[place]))

    def window(self, now_ns: int, period_s: int) -> Window:
        """Return what is known of the last `period_s` seconds, a multiple of ten and a day at most."""
        now = now_ns // BIN_NS
        if self._newest is not None and 0 < now - self._newest <= _HELD:
            # The newest reading is on its way, or has just come: it is no gap yet.
            now = self._newest
        numbers = np.arange(now - period_s // BIN_S + 1, now + 1)
        means = self._means(numbers)
        total, measured = float(means.sum()), len(means)
        return Window(total / measured if measured else float("nan"), total / len(numbers), measured / len(numbers))

    def newest(self, now_ns: int, pieces: int) -> list[float]:
        """Return the means of the newest pieces, the newest last; fewer where some were not measured, none of old."""
        if self._newest is None or now_ns // BIN_NS - self._newest > _HELD:
            return []
        means: list[float] = self._means(np.arange(self._newest - pieces + 1, self._newest + 1)).tolist()
        return means

    def _means(self, numbers: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return the means of those among some pieces that were measured."""
        place = numbers % _BINS
        known = (self._number[place] == numbers) & (self._count[place] > 0)
        means: NDArray[np.float64] = self._sum[place][known] / self._count[place][known]
        return means

    def _hold(self, number: int, ppm: float) -> None:
        """Let a reading stand for the pieces since the one before, where a sensor is slower than they are short."""
        before = self._newest
        if before is not None and 1 < number - before <= _HELD:
            for between in range(before + 1, number):
                self._add(between, ppm, 1)

    def _add(self, number: int, total: float, count: int) -> None:
        if self._newest is not None and number <= self._newest - _BINS:
            return
        place = number % _BINS
        if self._number[place] != number:
            self._number[place], self._sum[place], self._count[place] = number, 0.0, 0
        self._sum[place] += total
        self._count[place] += count
        self._newest = number if self._newest is None else max(self._newest, number)
