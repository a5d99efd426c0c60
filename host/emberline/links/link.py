"""What every link has in common: its states, its limits, and what the daemon may rely on."""

from collections.abc import Awaitable, Callable, Mapping
from enum import StrEnum
from typing import Any, Protocol

from emberline.links.arrivals import Arrival, Greeting

TICK_S = 0.2
"""How often a session is looked after."""
LEAST_TICK_S = 0.004
"""Shortest wait in real seconds, however fast the clock."""
STALE_PERIODS, STALE_LEAST_S = 5.0, 2.0
GONE_PERIODS, GONE_LEAST_S = 20.0, 10.0

Take = Callable[[list[Arrival]], Awaitable[None]]
"""Receives arrivals; while it waits, a link reads nothing more."""
Remember = Callable[[int, Callable[[], dict[str, Any] | None]], None]
"""Told the boot of a commit, and what makes the document of how far the device is stored, for the next run."""


class LinkClock(Protocol):
    """What a link needs of the daemon's clock; see `slack_s` for limits at more than real pace."""

    @property
    def slack_s(self) -> float:
        """Time by which limits are widened."""

    def now_ns(self) -> int:
        """Return UTC nanoseconds of a clock that never steps."""

    def real_s(self, seconds: float) -> float:
        """Return the real length of a span."""

    async def sleep(self, seconds: float) -> None:
        """Wait."""


class LinkState(StrEnum):
    """Where a link stands; only `streaming` is sound."""

    SEEKING = "looking for the device"
    REACHING = "reaching for the broker"
    ASKING = "asking the device who it is"
    STREAMING = "streaming"
    STALE = "connected, but no readings come"
    REFUSED = "the device is refused"
    TURNED_AWAY = "turned away by the broker"
    WAITING = "waiting to try again"
    CLOSED = "closed"


class Link(Protocol):
    """Where a bench's readings come from."""

    @property
    def state(self) -> LinkState:
        """Where the link stands."""

    @property
    def trouble(self) -> str:
        """What went wrong last, in words; empty while streaming."""

    @property
    def greeting(self) -> Greeting | None:
        """The device's last greeting."""

    @property
    def discarded(self) -> int:
        """What arrived and could not be read."""

    async def run(self, take: Take) -> None:
        """Keep the link up until cancelled, and hand on what arrives."""

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        """Take note that all samples before those wanted, by stored channel name, are on disk."""


def age_limits_s(greeting: Greeting | None) -> tuple[float, float]:
    """Return the ages of the newest reading at which a link counts as stale and at which it is opened anew."""
    period_s = 1.0
    if greeting is not None:
        period_s = max(greeting.frame_period_s, min(channel.period_s for channel in greeting.channels))
    return max(STALE_PERIODS * period_s, STALE_LEAST_S), max(GONE_PERIODS * period_s, GONE_LEAST_S)
