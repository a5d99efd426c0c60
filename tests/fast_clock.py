"""A clock that hurries, for links that are tried without a daemon."""

import asyncio
import time
from dataclasses import dataclass


@dataclass(frozen=True)
class FastClock:
    """So many seconds in one.

    Attributes:
        speed: How many.
        slack_s: Allowance for a busy machine, in its own seconds.
    """

    speed: float
    slack_s: float = 30.0

    def now_ns(self) -> int:
        return int(time.monotonic() * self.speed * 1e9)

    def real_s(self, seconds: float) -> float:
        return seconds / self.speed

    async def sleep(self, seconds: float) -> None:
        await asyncio.sleep(seconds / self.speed)
