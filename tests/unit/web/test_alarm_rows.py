from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from emberline.store.records import StoredAlarm, Trial
from emberline.store.store import Store
from emberline.web.alarm_rows import AlarmRow, alarm_rows

S_NS = 10**9
START_NS = 1_764_072_000 * S_NS


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "s") as opened:
        yield opened


def alarm(at_s: float, kind: str = "load_gone", bench: str = "yard") -> StoredAlarm:
    return StoredAlarm(bench, kind, START_NS + round(at_s * S_NS), "It fell.", None, None, "")


def trial(store: Store, end_s: float | None = 600.0, origin: str = "live") -> Trial:
    one = store.create_trial(bench="yard", start_ns=START_NS, origin=origin)
    if end_s is not None:
        store.end_trial(one.id, START_NS + round(end_s * S_NS))
    return store.trial(one.id)


def test_an_alarm_tells_who_saw_it_when_and_when_it_had_gone(store: Store) -> None:
    at_ns = START_NS + 130 * S_NS
    seen = replace(alarm(130.0), acknowledged_ns=at_ns + 95 * S_NS, acknowledged_by="Ada", cleared_ns=at_ns + 20 * S_NS)
    store.keep_alarms([seen, alarm(200.0, "disk_low")])
    first, second = alarm_rows(store, trial(store), 60.0)
    title = "The load is gone: the stove may have tipped over"
    assert first == AlarmRow("1:10", title, "It fell.", "by Ada, after 1 min 35 s", "after 20 s")
    assert (second.title, second.seen, second.gone) == ("The disk is nearly full", "by nobody", "not known")


def test_only_alarms_of_its_bench_and_its_time_belong_to_a_trial(store: Store) -> None:
    store.keep_alarms([alarm(-1.0), alarm(10.0), alarm(10.0, bench="shed"), alarm(630.0), alarm(700.0)])
    assert [row.time for row in alarm_rows(store, trial(store), 0.0)] == ["0:10", "10:30"]
    assert [row.time for row in alarm_rows(store, trial(store, None), 0.0)] == ["0:10", "10:30", "11:40"]
    assert alarm_rows(store, trial(store, origin="import"), 0.0) == []


def test_a_kind_that_this_version_does_not_know_is_told_all_the_same(store: Store) -> None:
    store.keep_alarms([alarm(1.0, "moon_full")])
    (row,) = alarm_rows(store, trial(store), 0.0)
    assert row.title == "moon full"
