"""The machine's wall clock against the daemon's own, which never steps.

A computer without a battery-backed clock finds the time only once it has a network. Until a trial has ended its
readings keep to the time in which they began, so that durations hold.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

from emberline.service.clock import Clock, real_clock
from emberline.service.time_words import iso, span_words
from emberline.store.errors import StoreError
from emberline.store.notices import Notice, NoticeKind
from emberline.store.reader import StoreReader

STEP_S = 0.5
"""A difference beyond this is a step: what keeps a clock on time slews both clocks alike."""
AHEAD_S = 2.0
"""A store whose newest reading lies further ahead than this was written by a clock that was wrong."""
PLAUSIBLE_NS = 1_735_689_600_000_000_000
"""2025-01-01: an earlier time is that of a clock that was never set."""


@dataclass
class ClockWatch:
    """Notices when the wall clock is set.

    Attributes:
        clock: The daemon's clock.
        utc_ns: The machine's wall clock.
        step_s: By how much the wall clock is ahead of the daemon's now, beyond what it was at the start; seconds.
    """

    clock: Clock
    utc_ns: Callable[[], int] = time.time_ns
    step_s: float = 0.0
    _base_s: float = field(init=False)

    def __post_init__(self) -> None:
        """Take the present difference as sound."""
        self._base_s = self._difference_s()

    def look(self) -> Notice | None:
        """Return a notice where the wall clock was set since the last look."""
        if self.clock.speed != 1.0:
            return None
        step_s = self._difference_s() - self._base_s
        if abs(step_s - self.step_s) < STEP_S:
            return None
        change_s, self.step_s = step_s - self.step_s, step_s
        way = "forward" if change_s > 0.0 else "back"
        text = (
            f"The machine's clock was set {way} by {span_words(abs(change_s))}, to {iso(self.utc_ns())}. A running"
            " trial keeps to the time in which it began, so that its durations hold."
        )
        return Notice(self.clock.now_ns(), NoticeKind.CLOCK, text)

    @property
    def due(self) -> bool:
        """Whether the daemon should take up the wall clock's time once no trial is open.

        Only forward: readings dated before those that are stored would mix with them.
        """
        return self.step_s > STEP_S

    def warning(self) -> str:
        """Return what is wrong with the time now, in words; empty if nothing is."""
        if self.clock.speed != 1.0:
            return ""
        if self.clock.now_ns() < PLAUSIBLE_NS:
            return "the machine's clock is not set: the dates of readings are wrong, their durations are right"
        if abs(self.step_s) > STEP_S:
            way = "ahead of" if self.step_s > 0.0 else "behind"
            return f"the machine's clock is {span_words(abs(self.step_s))} {way} the dates of the readings"
        if self._base_s < -AHEAD_S:
            return (
                f"the machine's clock is {span_words(-self._base_s)} behind the newest reading in the store: readings"
                " are dated from that one on; for true dates, see that the clock is right and use a new data folder"
            )
        return ""

    def _difference_s(self) -> float:
        return (self.utc_ns() - self.clock.now_ns()) * 1e-9


def clock_after(store: Path, clock: Callable[[], Clock] = real_clock) -> Clock:
    """Return a clock of real pace that shows UTC, or goes on from the store's newest reading where that is later.

    Args:
        store: The store; it need not exist.
        clock: Makes a clock that shows UTC.
    """
    fresh = clock()
    try:
        newest_ns = StoreReader(store).newest_ns() or 0
    except StoreError:
        return fresh
    if newest_ns < fresh.now_ns():
        return fresh
    # A little after it, so that not even a stream's error of time lets two readings change places.
    return replace(fresh, origin_ns=fresh.origin_ns + (newest_ns - fresh.now_ns()) + 1_000_000_000)
