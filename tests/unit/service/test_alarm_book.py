import asyncio
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from emberline.service import alarm_book as module
from emberline.service.alarm_book import AlarmBook
from emberline.service.alarms import AlarmNews, Happening
from emberline.store.errors import StoreFullError
from emberline.store.records import StoredAlarm
from emberline.store.store import Store
from emberline.trials.alarms import AlarmKind
from emberline.trials.live_document import AlarmShown
from live_fixture import until
from unit.service.meanwhile import meanwhile

ALARM = AlarmShown(AlarmKind.LOAD_GONE, "It fell.", 1_000)
SEEN = replace(ALARM, acknowledged_ns=1_500, acknowledged_by="Ada")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "s") as opened:
        yield opened


async def test_what_happens_to_an_alarm_is_in_the_store(store: Store) -> None:
    book = AlarmBook(store)
    async with meanwhile(book.run()):
        book.take(AlarmNews("yard", Happening.RAISED, ALARM))
        await until(lambda: len(store.alarms("yard")) == 1, "the alarm")
        book.take(AlarmNews("yard", Happening.ACKNOWLEDGED, SEEN))
        await until(lambda: store.alarms("yard")[0].acknowledged_by == "Ada", "who saw it")
        book.take(AlarmNews("yard", Happening.GONE, replace(SEEN, cleared_ns=2_000)))
        await until(lambda: store.alarms("yard")[0].cleared_ns == 2_000, "its end")


async def test_what_a_full_disk_does_not_take_waits(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "AGAIN_S", 0.01)
    kept, refusals = store.keep_alarms, [3]

    def refusing(alarms: Sequence[StoredAlarm]) -> None:
        if refusals[0]:
            refusals[0] -= 1
            raise StoreFullError("no room")
        kept(alarms)

    monkeypatch.setattr(store, "keep_alarms", refusing)
    book = AlarmBook(store)
    async with meanwhile(book.run()):
        book.take(AlarmNews("yard", Happening.RAISED, ALARM))
        book.take(AlarmNews("yard", Happening.ACKNOWLEDGED, SEEN))
        await until(lambda: store.alarms("yard") != [], "the alarm")
    (alarm,) = store.alarms("yard")
    assert (alarm.acknowledged_by, refusals) == ("Ada", [0])


async def test_at_the_end_what_waits_is_kept_and_a_store_that_takes_nothing_is_not_waited_for(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    book, loop = AlarmBook(store), asyncio.get_running_loop()
    await book.done(30.0)
    async with meanwhile(book.run()):
        book.take(AlarmNews("yard", Happening.RAISED, ALARM))
        await book.done(30.0)
        assert len(store.alarms("yard")) == 1

        def refusing(_: Sequence[StoredAlarm]) -> None:
            raise StoreFullError("no room")

        monkeypatch.setattr(store, "keep_alarms", refusing)
        book.take(AlarmNews("yard", Happening.ACKNOWLEDGED, SEEN))
        begun = loop.time()
        await book.done(0.2)
        assert 0.2 <= loop.time() - begun < 5.0
