"""The end of flame as a live run sees it: when the detector is asked, when it is believed, and when it was wrong.

A false flameout in a refuel's dip says that the flame is out while it is not; half a minute's wait is the smaller evil.
So the detector must find the same moment for a while, that moment must be well past, the rate must be far below
flaming, a flame probe must be calm or cool, and the last addition some minutes ago.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from emberline.curves.events import Event
from emberline.curves.fast_loss import RECOVERY_SHARE, REFUEL_GRACE_S, flaming_level
from emberline.curves.flame_probe import LEAST_DROP_K, LEAST_DROP_SHARE, TAIL_S
from emberline.curves.flicker import HOT_S, flickers_yet
from emberline.curves.grid import Column
from emberline.curves.robust import median, quantile

Array = NDArray[np.float64]

RELIGHT_S = 600
"""A fire that burns again within this time of its flameout never went out: the same batch, the same trial."""
KINDLED_S = 90
"""A fire that died sooner after its match has burnt its starter, and has yet to catch or is lit again."""
LOAD_TAIL_S = 60
"""Seconds of tail on the load cell that make an end sure which no probe tells: what still sinks passes for level."""
SMOTHERED_S = (-10.0, 120.0)
"""Seconds from an addition to an end of flame that is taken for its doing: cold fuel smothers, and catches later."""
CAUGHT_SHARE = 0.5
"""Share of an addition whose loss before that end shows that it had caught, and burnt off."""
U_AHEAD_S = 60.0
"""Standard uncertainty of what is still to come when such an end is announced: over 46 published slabs of wood half of
the flames still lived then, most for less than a minute."""
STEADY_S = 15
"""Seconds for which the end of flame must be found at the same moment before it is announced."""
STEADY_WITHIN_S, STEADY_WITHIN_U = 8.0, 0.5
"""What counts as the same moment: so many seconds, or so many of its standard uncertainties."""
LOOK_S = 5
"""Most seconds between two looks by which an end is found to be steady."""
SUNK_SHARE = 0.5
"""Share of the flaming level below which the fire may be going out."""
SURE_SHARE = 0.25
"""Share of the flaming level below which the rate must be before an end of flame is announced."""
FED_G = 5.0
"""Rise of the load that may be fuel; what was laid on has yet to settle."""
COOLER = 0.65
"""Ratio of its temperature to that in flame which leaves no flame, flicker or not."""
LEVEL_S = 1_800
"""Seconds of curve from which the flaming level is taken."""
WARM_S = 900
"""Seconds of curve from which a flame probe's temperature in flame is taken."""
BACK_SHARE = 0.6
"""Share of the way back to its temperature in flame that a probe must have gone before a fire is back."""
BACK_S = 20
"""Seconds for which a fire must burn again before its flameout is taken back."""


def as_announced(event: Event, now: int) -> Event:
    """Return an end of flame as it is announced: what no probe tells may be a lull of a flame that lives on.

    Args:
        event: The end as it is found.
        now: Seconds so far. Until then, at any moment alike, that flame may have ended.
    """
    if event.confirmed:
        return event
    lived_on_s = max(0.0, now - event.t_s) / 3.0**0.5
    return replace(event, u_s=float(np.linalg.norm([event.u_s, U_AHEAD_S, lived_on_s])))


class FlameWatch:
    """Watches for the end of flame, and for a fire that comes back."""

    def __init__(self) -> None:
        """Begin with a fire that burns."""
        self._found: list[tuple[int, float]] = []
        self._back_since: int | None = None
        self._level_g_s = 0.0
        self._hot_c: float | None = None

    @staticmethod
    def sinking(rate_g_s: Array | None, flame: Column | None, now: int) -> bool:
        """Tell whether the fire may be going out, from what costs little.

        Args:
            rate_g_s: (now,) rate of loss of all that stands on the cell; None without one.
            flame: The flame probe's column up to now, where fitted.
            now: Seconds so far.
        """
        warmth = _warmth(flame, now)
        if now < 90 or (warmth is not None and warmth >= 1.0 - LEAST_DROP_SHARE):
            return False
        if rate_g_s is None:
            return flame is not None
        # A pot over a dead fire goes on losing water: a probe that sees no flame need not wait for the load.
        if warmth is not None and warmth < COOLER:
            return True
        return float(np.mean(rate_g_s[-20:])) < SUNK_SHARE * flaming_level(rate_g_s, max(0, now - LEVEL_S), now)

    def sure(
        self,
        event: Event,
        rate_g_s: Array | None,
        lit_s: float | None,
        fed: Sequence[tuple[float, float]],
        flame: Column | None,
    ) -> bool:
        """Tell whether an end of flame that the detector finds may be announced now.

        Args:
            event: What it finds.
            rate_g_s: (now,) the fuel's own rate of loss; None without a load cell.
            lit_s: When the fuel caught.
            fed: When anything was laid on the fire that may have been fuel, and its size, g.
            flame: The flame probe's column, where fitted.
        """
        now = len(rate_g_s) if rate_g_s is not None else len(flame) if flame is not None else 0
        self._found = [(at, t_s) for at, t_s in self._found if at >= now - STEADY_S - LOOK_S]
        self._found.append((now, event.t_s))
        moments = [t_s for _, t_s in self._found]
        within_s = max(STEADY_WITHIN_S, STEADY_WITHIN_U * event.u_s)
        if now - self._found[0][0] < STEADY_S or max(moments) - min(moments) > within_s:
            return False
        if lit_s is not None and event.t_s - lit_s < KINDLED_S:
            return False
        level = 0.0
        if rate_g_s is not None:
            level = flaming_level(rate_g_s, int(lit_s or 0), int(event.t_s))
            left_g_s = float(np.nanmean(rate_g_s[-20:]))
            # The detector has weighed a flame probe's word against the load; the load's own is taken with care.
            if not event.confirmed and left_g_s > SURE_SHARE * level:
                return False
        # A flame that burns low flickers on, at a probe that has cooled as well as one of which the load says nothing.
        if flame is not None and now - event.t_s < HOT_S and flickers_yet(flame, event.t_s):
            return False
        past_s = TAIL_S if event.confirmed else LOAD_TAIL_S
        sure = now - event.t_s >= past_s and not _may_be_smothered(event.t_s, rate_g_s, fed, now)
        if sure:
            self._level_g_s = level
            self._hot_c = _in_flame(flame, int(lit_s or 0), int(event.t_s))
        return sure

    def back(self, out: Event, rate_g_s: Array | None, flame: Column | None, now: int) -> str:
        """Return why a fire that was called out burns again; empty where it does not.

        Args:
            out: The end of flame that was announced.
            rate_g_s: (now,) the fuel's own rate of loss; None without a load cell.
            flame: The flame probe's column, where fitted.
            now: Seconds so far.
        """
        words = self._burns(out, rate_g_s, flame, now)
        if not words:
            self._back_since = None
            return ""
        self._back_since = now if self._back_since is None else self._back_since
        if now - self._back_since < BACK_S:
            return ""
        self._back_since, self._found = None, []
        return f"the fire burns again: {words}"

    def _burns(self, out: Event, rate_g_s: Array | None, flame: Column | None, now: int) -> str:
        """Say what shows that a fire burns now; load cell and flame probe must agree where both speak."""
        words = []
        if rate_g_s is not None:
            recent = float(np.median(rate_g_s[-20:]))
            if not recent > RECOVERY_SHARE * self._level_g_s > 0.0:
                return ""
            words.append(f"the load cell loses {recent * 60.0:.1f} g/min")
        since = flame.value[int(out.t_s) : now] if flame is not None else np.zeros(0)
        known, recent_known = since[np.isfinite(since)], since[-BACK_S:][np.isfinite(since[-BACK_S:])]
        if len(recent_known) and self._hot_c is not None:
            cool = float(np.quantile(known, 0.1))
            recent_c = float(np.median(recent_known))
            if not recent_c > cool + max(BACK_SHARE * (self._hot_c - cool), LEAST_DROP_K):
                return ""
            words.append(f"the flame probe is back at {recent_c:.0f} °C")
        return " and ".join(words)


def _may_be_smothered(out_s: float, rate_g_s: Array | None, fed: Sequence[tuple[float, float]], now: int) -> bool:
    """Tell whether a fire that seems to have ended was fed so lately that the fuel may yet catch."""
    for t_s, size_g in fed:
        if now - t_s < REFUEL_GRACE_S:
            return True
        if SMOTHERED_S[0] <= out_s - t_s <= SMOTHERED_S[1] and now - t_s < RELIGHT_S and rate_g_s is not None:
            burnt_g = float(np.nansum(rate_g_s[int(t_s) : int(out_s)]))
            if burnt_g < CAUGHT_SHARE * size_g:
                return True
    return False


def _in_flame(flame: Column | None, begin: int, end: int) -> float | None:
    """Return a flame probe's temperature in the last minutes of flame; None where it knows none."""
    if flame is None:
        return None
    value = flame.value[max(begin, end - 300) : max(end - 20, begin + 1)]
    value = value[np.isfinite(value)]
    return float(np.median(value)) if len(value) else None


def _warmth(flame: Column | None, now: int) -> float | None:
    """Return a flame probe's temperature as a share of that in flame; None where it says nothing."""
    if flame is None:
        return None
    recent, hot = flame.value[max(0, now - 12) : now], flame.value[max(0, now - WARM_S) : now]
    recent, hot = recent[np.isfinite(recent)], hot[np.isfinite(hot)]
    if len(recent) == 0 or len(hot) == 0:
        return None
    return median(recent) / max(quantile(hot, 0.85), 1.0)
