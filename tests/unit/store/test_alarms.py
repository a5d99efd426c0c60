from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from emberline.store.records import StoredAlarm
from emberline.store.store import Store

RAISED = StoredAlarm("yard", "load_gone", 1_000, "It fell.", None, None, "")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "s") as opened:
        yield opened


def test_an_alarm_is_kept_with_who_saw_it_and_when_it_went(store: Store) -> None:
    seen = replace(RAISED, acknowledged_ns=1_500, acknowledged_by="Ada")
    gone = replace(seen, cleared_ns=2_000)
    for one in (RAISED, seen, gone):
        store.keep_alarms([one])
        assert store.alarms("yard") == [one]


def test_one_that_is_raised_anew_from_the_same_record_forgets_nothing(store: Store) -> None:
    """After a restart the record is followed anew, and raises the same alarm at the same moment."""
    known = replace(RAISED, cleared_ns=2_000, acknowledged_ns=1_500, acknowledged_by="Ada")
    store.keep_alarms([known])
    store.keep_alarms([RAISED, replace(RAISED, acknowledged_ns=1_800, acknowledged_by="Ben")])
    assert store.alarms("yard") == [known]


def test_alarms_are_listed_by_bench_and_time(store: Store) -> None:
    others = [replace(RAISED, raised_ns=t_ns) for t_ns in (3_000, 2_000)]
    store.keep_alarms([RAISED, *others, replace(RAISED, bench="shed")])
    assert [one.raised_ns for one in store.alarms("yard")] == [1_000, 2_000, 3_000]
    assert [one.raised_ns for one in store.alarms("yard", 2_000, 2_999)] == [2_000]
    assert len(store.alarms("shed")) == 1
