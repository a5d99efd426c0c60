"""Boils as a live run sees them: when the detector is asked, and how what it says is taken.

Water that has boiled cannot grow hotter. A plateau that is left upwards was a pause: the detector is asked again, and
what it finds instead is the boil of this visit, in a better form. Only where it finds none is the boil taken back.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

from emberline.curves.boil import HOLD_LIVE_S, HOLD_S, WaterProbe, find_boils
from emberline.curves.burning_rate import LossRate
from emberline.curves.events import Event
from emberline.curves.grid import Column

NEAR_BOIL_K = 8.0
"""Distance from the local boiling point within which a live run looks for a boil."""
SPOKEN_ODDS = 4.5
"""Log odds, and the time since in its measure, from which on a live run calls a plateau a boil."""
LEVEL_S, APART_S = 6, 8
"""Seconds from which a level is taken, and between two that are compared."""
LEVELLING_K = 1.6
"""Rise between these below which water levels off."""
HOTTER_K = 0.6
"""Excess of the water over a plateau that was called boiling which says that it may not have been."""
HOTTEST_C = 110.0
"""Above it the probe is in no water."""
LEAST_EVERY_S, MOST_EVERY_S = 2, 16
"""Seconds between two questions: few while the water still moves, more while it stands; none while one is pending."""
MOVED_K = 0.3
"""Change of the water's temperature that makes questions worth while."""
STILL_S = 45
"""Seconds without such a change after which the water stands."""
RAMP_S = 900
"""Seconds of curve that the detector is given before the moment of interest."""
AGAIN_S = (45, 90)
"""Seconds after its announcement at which a boil is looked at again, for a better time and the jump of its steam."""
STEADY_SHARE = 0.5
"""For how long a boil must be found at one moment before it is announced, over how unsure that moment is: a ramp that
still ends is found later every second."""
STEADY_WITHIN_S = 2.0
"""What counts as one moment."""
MOVED_S = 4.0
"""Distance from which a boil that is found again is another one."""
FORGOTTEN_S = 30
"""Seconds after which it no longer matters where a boil was found."""
DOUBT_S = 20
"""Seconds of doubt before a boil is taken back."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What is to be made of the boils of the present visit.

    Attributes:
        boil: The boil of this visit in its best form; None where there is none to speak of.
        back: Why the one that was announced is wrong; empty where it is not.
    """

    boil: Event | None = None
    back: str = ""


class BoilWatch:
    """Watches the water of one visit of the pot after the other."""

    def __init__(self, boiling_c: UFloat, probe: WaterProbe) -> None:
        """Begin with water that has not boiled.

        Args:
            boiling_c: Local boiling temperature.
            probe: The probe's uncertainty and lag.
        """
        self.boiling_c, self._probe = boiling_c, probe
        self._plateau_c: float | None = None
        self._begun_s = -1.0
        self._asked_s = -MOST_EVERY_S
        self._moved_s, self._moved_c = 0, -np.inf
        self._candidates: list[tuple[int, float]] = []
        self._doubted_since: int | None = None

    def look(
        self,
        water: Column,
        now: int,
        visit: tuple[float, float],
        boil: Event | None,
        loss: Callable[[], LossRate] | None,
    ) -> Taken | None:
        """Look at the newest second; return what follows, or None where nothing does.

        Args:
            water: The water probe's column up to now.
            now: Its length.
            visit: The present stay of the pot, seconds.
            boil: The boil announced for it, or None.
            loss: Tells the rate of loss of all that stands on the cell with the pot; None without one.
        """
        if visit[0] != self._begun_s:
            # Another visit, or the same in a better measure: what was announced for it counts, not what was seen of it.
            self._begun_s = visit[0]
            self._candidates = []
            if boil is None:
                self._plateau_c, self._doubted_since = None, None
        level = _level(water, now - LEVEL_S, now)
        earlier = _level(water, now - APART_S - LEVEL_S, now - APART_S)
        if now < 30 or level is None or earlier is None:
            return None
        if boil is not None:
            return self._look_again(water, now, visit, boil, loss, level)
        near = abs(level - self.boiling_c.nominal_value) < NEAR_BOIL_K and level - earlier < LEVELLING_K
        if abs(level - self._moved_c) > MOVED_K:
            self._moved_s, self._moved_c = now, level
        self._candidates = [c for c in self._candidates if c[0] >= now - FORGOTTEN_S]
        every = LEAST_EVERY_S if now - self._moved_s < STILL_S else MOST_EVERY_S
        if not near or (now - self._asked_s < every and not self._candidates):
            return None
        self._asked_s = now
        found = self._ask(water, now, visit, now - RAMP_S, loss, HOLD_LIVE_S, SPOKEN_ODDS)
        if found is None:
            return None
        self._candidates.append((now, found.t_s))
        same = [at for at, t_s in self._candidates if abs(t_s - found.t_s) <= STEADY_WITHIN_S]
        if now - min(same) < max(1.0, STEADY_SHARE * found.u_s):
            return None
        self._plateau_c = level
        return Taken(found)

    def _look_again(
        self,
        water: Column,
        now: int,
        visit: tuple[float, float],
        boil: Event,
        loss: Callable[[], LossRate] | None,
        level: float,
    ) -> Taken | None:
        """Look again at a boil that was announced."""
        if self._plateau_c is None:
            self._plateau_c = level
        hotter = self._plateau_c + HOTTER_K < level < HOTTEST_C
        due = any(now == int(boil.announced_t_s or 0.0) + after for after in AGAIN_S)
        if not hotter:
            self._doubted_since = None
        every = LEAST_EVERY_S if self._doubted_since is not None else MOST_EVERY_S
        if not due and not (hotter and now - self._asked_s >= every):
            return None
        self._asked_s = now
        found = self._ask(water, now, visit, int(boil.t_s) - RAMP_S, loss, HOLD_S if due else HOLD_LIVE_S)
        if found is not None:
            # The same boil, better known, or the one that the pause was before.
            self._doubted_since = None
            if abs(found.t_s - boil.t_s) > MOVED_S:
                self._plateau_c = level
            return Taken(found)
        if not hotter:
            return None
        self._doubted_since = now if self._doubted_since is None else self._doubted_since
        if now - self._doubted_since < DOUBT_S:
            return None
        why = f"the water went on warming, from {self._plateau_c:.1f} to {level:.1f} °C: that was a pause, no boil"
        self._plateau_c, self._doubted_since, self._candidates = None, None, []
        return Taken(None, why)

    def _ask(
        self,
        water: Column,
        now: int,
        visit: tuple[float, float],
        since: int,
        loss: Callable[[], LossRate] | None,
        hold_s: int,
        least_odds: float = 0.0,
    ) -> Event | None:
        low = max(0, int(visit[0]), since)
        window = (visit[0] - low if visit[0] > low else 0.0, min(visit[1], float(now)) - low)
        rate = loss().rate_g_s[low:now] if loss is not None else None
        found = find_boils(
            water.between(low, now),
            [window],
            self.boiling_c,
            self._probe,
            rate,
            hold_s=hold_s,
            least_odds=least_odds,
        )
        return found[0].later(float(low)) if found else None


def _level(column: Column, low: int, high: int) -> float | None:
    """Return the median of some seconds, None where all are empty."""
    known = sorted(v for v in column.value[max(0, low) : max(0, high)].tolist() if v == v)
    return known[len(known) // 2] if known else None
