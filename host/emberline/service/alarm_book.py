"""Keeps in the store what happens to alarms: raised, acknowledged by whom, gone."""

import asyncio
import logging
from contextlib import suppress

from emberline.service.alarms import AlarmNews
from emberline.store.errors import StoreError
from emberline.store.records import StoredAlarm
from emberline.store.store import Store

LOG = logging.getLogger(__name__)

AGAIN_S = 5.0
"""Pause before a store that took nothing is tried again, real seconds."""


class AlarmBook:
    """Keeps the alarms of all benches; what the store does not take waits, the newest state of each."""

    def __init__(self, store: Store) -> None:
        """Keep them in a store."""
        self._store = store
        self._waiting: dict[tuple[str, str, int], StoredAlarm] = {}
        self._some, self._none = asyncio.Event(), asyncio.Event()
        self._none.set()

    def take(self, news: AlarmNews) -> None:
        """Have something kept soon; never waits."""
        alarm = news.alarm
        kept = StoredAlarm(
            news.bench,
            alarm.kind.value,
            alarm.raised_ns,
            alarm.text,
            alarm.cleared_ns,
            alarm.acknowledged_ns,
            alarm.acknowledged_by,
        )
        self._waiting[kept.bench, kept.kind, kept.raised_ns] = kept
        self._some.set()
        self._none.clear()

    async def done(self, limit_s: float) -> None:
        """Wait until everything is kept, for so long at most, real seconds."""
        with suppress(TimeoutError):
            async with asyncio.timeout(limit_s):
                await self._none.wait()

    async def run(self) -> None:
        """Keep what comes until cancelled."""
        while True:
            await self._some.wait()
            self._some.clear()
            while self._waiting:
                await self._keep()
            self._none.set()

    async def _keep(self) -> None:
        some = dict(self._waiting)
        try:
            await asyncio.to_thread(self._store.keep_alarms, list(some.values()))
        except StoreError as error:
            LOG.debug("alarms wait for the store: %s", error)
            await asyncio.sleep(AGAIN_S)
            return
        for key, kept in some.items():
            if self._waiting.get(key) is kept:
                del self._waiting[key]
