"""Carbon monoxide against its limits: above, below, or not known.

A mean over hours of which a part was not measured is never called fine. It is called above its limit once that is
certain whatever was in the air meanwhile, so that nobody waits eight hours to be told.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import isnan

import numpy as np
from numpy.typing import NDArray

from emberline.bench.channels import Channel
from emberline.bench.co_limits import HOUR_S, MINUTE_S, CoLimit
from emberline.heat.result import COVERAGE_95
from emberline.trials.alarms.alarm import Danger, Safe, Verdict
from emberline.trials.alarms.co_means import BIN_S, CoMeans, Window

ENOUGH = 0.75
"""Share of a period that must be measured for its mean to stand for it (Directive 2008/50/EC, annex XI: 75 % of an
hour, 6 of 8 hours; from memory)."""
CLEARED = 0.8
"""Share of a limit below which an alarm is cleared."""
CEILING_PIECES = 2
"""A ceiling is passed when that many pieces of ten seconds, one after the other, are above it: a spark in the sensor's
lead is shorter, and the sensor itself is slower."""
NO_SUBSTITUTE = "This sensor is no substitute for a certified carbon monoxide alarm."
UNSMELT = "Carbon monoxide cannot be smelt."


class CoState(StrEnum):
    """How the air stands against a limit."""

    ABOVE = "above"
    BELOW = "below"
    UNKNOWN = "not known"


@dataclass(frozen=True, slots=True)
class CoStanding:
    """How the air stands against one limit.

    Attributes:
        limit: The limit.
        state: Above or below it, or not known.
        ppm: Mean over what was measured of its period, of a ceiling the newest ten seconds; None where nothing was.
        measured: Share of the period that was measured; of a ceiling 1 or 0.
    """

    limit: CoLimit
    state: CoState
    ppm: float | None
    measured: float


class CoWatch:
    """Compares a sensor's readings with limits."""

    def __init__(self, channel: Channel, limits: Sequence[CoLimit]) -> None:
        """Begin without readings."""
        self._channel = channel
        self._limits = tuple(limits)
        self._means = CoMeans()
        self._above: set[str] = set()

    def take(self, t_ns: NDArray[np.int64], ppm: NDArray[np.float64]) -> None:
        """Take in readings; see `CoMeans.take`."""
        self._means.take(t_ns, ppm)

    def add(self, earlier: CoMeans) -> None:
        """Take in readings from before the first that was taken."""
        self._means.add(earlier)

    def look(self, now_ns: int) -> tuple[CoStanding, ...]:
        """Return how the air stands against each limit; what was above a limit stays so until it is well below."""
        return tuple(self._standing(limit, now_ns) for limit in self._limits)

    def ceilings(self, standings: Sequence[CoStanding]) -> Verdict:
        """Judge the limits that hold at every moment."""
        mine = [one for one in standings if not one.limit.period_s]
        above = [one for one in mine if one.state is CoState.ABOVE]
        if not above:
            return _safe(mine)
        worst = max(above, key=lambda one: one.limit.ppm)
        limits = " and ".join(f"the {_limit(one.limit)}" for one in above)
        return Danger(
            f"Carbon monoxide is at {self._with_u(worst.ppm)}: above {limits}. {UNSMELT} {NO_SUBSTITUTE}",
            rank=len(above),
        )

    def means(self, standings: Sequence[CoStanding]) -> Verdict:
        """Judge the limits that hold for a mean over some time."""
        mine = [one for one in standings if one.limit.period_s]
        above = [one for one in mine if one.state is CoState.ABOVE]
        if not above:
            return _safe(mine)
        worst = max(above, key=lambda one: (one.ppm or 0.0) * one.measured / one.limit.ppm)
        others = ", ".join(_limit(one.limit) for one in above if one is not worst)
        also = f"; above its limit, too: {others}" if others else ""
        return Danger(
            f"Carbon monoxide: {self._told(worst)}{also}. Let air in. {UNSMELT} {NO_SUBSTITUTE}", rank=len(above)
        )

    def _told(self, one: CoStanding) -> str:
        limit, level = one.limit, self._with_u(one.ppm)
        measured_s = one.measured * limit.period_s
        if one.measured < ENOUGH:
            # The rest of the period is not known, and cannot make it less.
            return (
                f"{_span(measured_s)} at {level} are more than the {_limit(limit)}, allows in {_span(limit.period_s)}"
            )
        gaps = "" if limit.period_s - measured_s < 2 * BIN_S else f" ({_span(measured_s)} of them measured)"
        return f"{level} in the mean of {_span(limit.period_s)}{gaps}, above the {_limit(limit)}"

    def _standing(self, limit: CoLimit, now_ns: int) -> CoStanding:
        if limit.period_s:
            window = self._means.window(now_ns, limit.period_s)
            raised = window.least_ppm > limit.ppm or (window.measured >= ENOUGH and window.mean_ppm > limit.ppm)
            cleared = window.measured >= ENOUGH and window.mean_ppm < CLEARED * limit.ppm
        else:
            newest = self._means.newest(now_ns, CEILING_PIECES)
            enough = len(newest) == CEILING_PIECES
            window = Window(newest[-1] if newest else float("nan"), 0.0, float(enough))
            raised = enough and min(newest) > limit.ppm
            cleared = enough and max(newest) < CLEARED * limit.ppm
        if raised:
            self._above.add(limit.name)
        elif cleared:
            self._above.discard(limit.name)
        ppm = None if isnan(window.mean_ppm) else window.mean_ppm
        return CoStanding(limit, self._state(limit, window), ppm, window.measured)

    def _state(self, limit: CoLimit, window: Window) -> CoState:
        if limit.name in self._above:
            return CoState.ABOVE
        return CoState.BELOW if window.measured >= ENOUGH else CoState.UNKNOWN

    def _with_u(self, ppm: float | None) -> str:
        if ppm is None:
            return "an unknown level"
        return f"{ppm:.0f} ± {COVERAGE_95 * self._channel.u_reading(ppm):.0f} ppm"


def _safe(standings: Sequence[CoStanding]) -> Verdict:
    """Return that no limit is passed, where that is known of each; an alarm stays as it is otherwise."""
    # A limit that was passed counts as passed until it is known not to be: what is unknown now never was.
    return Safe() if standings else None


def _limit(limit: CoLimit) -> str:
    return f"{limit.title}: {limit.ppm:,.{int(limit.ppm < 10.0)}f} ppm"


def _span(seconds: float) -> str:
    if seconds < 2 * HOUR_S:
        return f"{seconds / MINUTE_S:.0f} min"
    return f"{seconds / HOUR_S:.1f} h".replace(".0 h", " h")
