"""The one clock of a running daemon, real or faster than real.

Its time is UTC at the start plus what has passed since on a clock that never steps, so durations hold even where the
machine's wall clock is set anew. A fast clock serves a simulated bench; its pace is counted from an origin that is kept
beside the data, so that a restarted daemon finds itself at the right moment of a simulated burn.
"""

import asyncio
import json
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

BUSY_S = 1.0
"""Real time for which a busy machine may keep a program waiting; limits in a fast clock's time are widened by it."""
ORIGIN_FILE = "clock.json"


@dataclass(frozen=True)
class Clock:
    """Time at a fixed pace.

    Attributes:
        speed: Seconds of this clock per real second.
        origin_ns: Time of this clock, UTC nanoseconds, at `anchor_s`.
        anchor_s: Reading of the monotonic clock that goes with it.
        monotonic: The clock that never steps, seconds.
    """

    speed: float
    origin_ns: int
    anchor_s: float
    monotonic: Callable[[], float] = field(default=time.monotonic, repr=False)

    @property
    def slack_s(self) -> float:
        """Time of this clock by which limits meant for real time are widened; 0 at real pace."""
        return (self.speed - 1.0) * BUSY_S if self.speed > 1.0 else 0.0

    def now_ns(self) -> int:
        """Return this clock's time, UTC nanoseconds."""
        return self.origin_ns + round((self.monotonic() - self.anchor_s) * self.speed * 1e9)

    def real_s(self, seconds: float) -> float:
        """Return how many real seconds a span of this clock takes."""
        return seconds / self.speed

    async def sleep(self, seconds: float) -> None:
        """Wait for a span of this clock's time."""
        await asyncio.sleep(seconds / self.speed)


def real_clock() -> Clock:
    """Return a clock of real pace that shows UTC."""
    return Clock(1.0, time.time_ns(), time.monotonic())


def fast_clock(speed: float, folder: Path, *, utc_ns: Callable[[], int] = time.time_ns) -> Clock:
    """Return a clock of another pace that goes on, after a restart, where it would have been.

    Args:
        speed: Its pace; above 0.
        folder: Where its origin is kept.
        utc_ns: The machine's wall clock.
    """
    wall_ns, anchor_s = utc_ns(), time.monotonic()
    origin_ns = _kept_origin(folder / ORIGIN_FILE, speed)
    if origin_ns is None:
        origin_ns = wall_ns
        document = {"speed": speed, "origin_ns": origin_ns}
        (folder / ORIGIN_FILE).write_text(json.dumps(document) + "\n", encoding="utf-8")
    return Clock(speed, origin_ns + round((wall_ns - origin_ns) * speed), anchor_s)


def _kept_origin(path: Path, speed: float) -> int | None:
    """Return the origin kept from an earlier run at the same pace, or None."""
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
        return int(document["origin_ns"]) if float(document["speed"]) == speed else None
    except (OSError, ValueError, KeyError, TypeError):
        return None
