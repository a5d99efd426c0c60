"""Takes alarms to people by one way, again and again until somebody has seen them, and keeps nobody waiting."""

import asyncio
import logging
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from emberline.service.alarms import AlarmNews, Happening
from emberline.service.delivery.message import message_of
from emberline.service.delivery.ways import UndeliveredError, Way

LOG = logging.getLogger(__name__)

AGAIN_S, LONGEST_AGAIN_S = 5.0, 300.0
"""Pauses before a way that failed is tried again, real seconds."""

MOST_WAITING = 100
"""Alarms that wait for a way at most."""

Key = tuple[str, str, int]


@dataclass
class _Told:
    """When an alarm was delivered last, and after how long it is to be delivered again, real seconds."""

    at_s: float
    pause_s: float


@dataclass
class Courier:
    """Delivers by one way.

    Of each alarm the newest news waits, and of alarms the newest hundred, so that a way which is slow or away holds up
    nothing and nobody; only that an alarm was raised is not put aside for a mere reminder.

    Attributes:
        way: The way.
        zone: Name of the time zone in which a person reads times.
        again_s: Time after which an alarm that nobody has acknowledged goes again; then twice that, and so on.
        longest_again_s: Longest such time.
        report: Told what is wrong with the way; nothing, once it works.
        now_s: A clock that never steps, real seconds.
        delivered: Messages that it has taken.
        failed: Attempts that failed.
    """

    way: Way
    zone: str
    again_s: float
    longest_again_s: float
    report: Callable[[str], None]
    now_s: Callable[[], float] = time.monotonic
    delivered: int = 0
    failed: int = 0
    _waiting: dict[Key, AlarmNews] = field(default_factory=dict)
    _told: dict[Key, _Told] = field(default_factory=dict)
    _some: asyncio.Event = field(default_factory=asyncio.Event)

    def take(self, news: AlarmNews) -> None:
        """Have something delivered soon; never waits."""
        key = news.bench, news.alarm.kind.value, news.alarm.raised_ns
        if news.happening is Happening.STILL:
            told = self._told.get(key)
            if key in self._waiting or (told is not None and self.now_s() - told.at_s < told.pause_s):
                return
        self._waiting[key] = news
        if len(self._waiting) > MOST_WAITING:
            oldest = self._waiting.pop(next(iter(self._waiting)))
            LOG.warning("%s has taken nothing for long: not delivered by it: %s", self.way.name, oldest.title)
        self._some.set()

    async def run(self) -> None:
        """Deliver until cancelled."""
        in_a_row = 0
        while True:
            await self._some.wait()
            while self._waiting:
                key, news = next(iter(self._waiting.items()))
                try:
                    await self.way.deliver(message_of(news, self.zone))
                except UndeliveredError as error:
                    self.failed += 1
                    in_a_row += 1
                    self.report(f"an alarm could not be delivered: {error}")
                    await asyncio.sleep(min(LONGEST_AGAIN_S, AGAIN_S * 2.0 ** min(in_a_row - 1, 10)))
                    continue
                in_a_row = 0
                self.delivered += 1
                self.report("")
                if self._waiting.get(key) is news:
                    del self._waiting[key]
                self._note(key, news)
            self._some.clear()

    def _note(self, key: Key, news: AlarmNews) -> None:
        """Remember when an alarm was delivered that may have to go again."""
        if news.happening in (Happening.ACKNOWLEDGED, Happening.GONE):
            self._told.pop(key, None)
            return
        before = self._told.get(key)
        pause_s = self.again_s if before is None else min(2.0 * before.pause_s, self.longest_again_s)
        self._told[key] = _Told(self.now_s(), pause_s)
