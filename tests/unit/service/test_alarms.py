import logging

import pytest

from emberline.service.alarms import AGAIN_S, AlarmNews, BenchAlarms
from emberline.service.clock import Clock
from emberline.service.errors import RequestError
from emberline.service.watch import FoundAlarms
from emberline.trials.alarms import Alarm, AlarmKind
from emberline.trials.alarms.alarm import Danger, Safe

SECOND_NS = 1_000_000_000
GONE = Alarm(AlarmKind.LOAD_GONE, 60.0, "It fell.")
DRY = Alarm(AlarmKind.POT_NEARLY_DRY, 90.0, "30 g are left.")


class Bench:
    """Alarms whose time is the test's."""

    def __init__(self, speed: float = 1.0) -> None:
        self.real_s = 100.0
        self.changes = 0
        self.news: list[AlarmNews] = []
        self.alarms = BenchAlarms("yard", Clock(speed, 0, 0.0, lambda: self.real_s), self._change, [self.news.append])

    def _change(self) -> None:
        self.changes += 1

    def found(self, *newest: Alarm, first: bool = False, start_ns: int = 0) -> None:
        self.alarms.found(FoundAlarms(start_ns, newest, first))

    def kinds(self) -> list[str]:
        return [one.kind.value for one in self.alarms.shown]


def cleared(alarm: Alarm, at_s: float) -> Alarm:
    return Alarm(alarm.kind, alarm.raised_s, alarm.text, at_s)


@pytest.fixture
def bench() -> Bench:
    return Bench()


def test_an_alarm_is_shown_logged_and_told_at_once(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    bench.found(GONE, start_ns=5 * SECOND_NS)
    (shown,) = bench.alarms.shown
    assert (shown.text, shown.raised_ns, shown.told) == ("It fell.", 65 * SECOND_NS, 1)
    assert bench.changes == 1
    assert "yard: alarm: The load is gone" in caplog.text
    bench.found(GONE, start_ns=5 * SECOND_NS)
    assert (len(bench.alarms.shown), bench.changes) == (1, 1)


def test_it_is_told_again_until_somebody_has_seen_it(bench: Bench) -> None:
    bench.found(GONE)
    for _ in range(3):
        bench.real_s += AGAIN_S - 1.0
        bench.alarms.remind()
        bench.real_s += 1.0
        bench.alarms.remind()
    assert bench.alarms.shown[0].told == 4
    assert bench.alarms.acknowledge("  Ada   L. ") == ["The load is gone: the stove may have tipped over"]
    bench.real_s += 10.0 * AGAIN_S
    bench.alarms.remind()
    (shown,) = bench.alarms.shown
    assert (shown.told, shown.acknowledged_by) == (4, "Ada L.")
    assert shown.acknowledged_ns == int((bench.real_s - 10.0 * AGAIN_S) * 1e9)


def test_at_a_fast_clock_it_is_told_at_a_persons_pace() -> None:
    bench = Bench(speed=60.0)
    bench.found(GONE)
    bench.real_s += 0.9 * AGAIN_S
    bench.alarms.remind()
    assert bench.alarms.shown[0].told == 1


def test_one_that_was_seen_goes_with_its_cause_and_one_that_was_not_stays(bench: Bench) -> None:
    bench.found(GONE, DRY)
    bench.alarms.acknowledge("Ada", "load_gone")
    bench.found(cleared(GONE, 100.0), cleared(DRY, 100.0))
    (shown,) = bench.alarms.shown
    assert shown.kind is AlarmKind.POT_NEARLY_DRY
    assert shown.cleared_ns == 100 * SECOND_NS
    bench.real_s += 10.0 * AGAIN_S
    bench.alarms.remind()
    assert bench.alarms.shown[0].told == 1, "a cause that has gone is not told again"
    bench.alarms.acknowledge("Ada")
    assert bench.alarms.shown == ()


def test_a_cause_that_comes_back_is_a_new_alarm(bench: Bench) -> None:
    bench.found(GONE)
    bench.alarms.acknowledge("Ada")
    bench.found(cleared(GONE, 80.0))
    bench.found(Alarm(AlarmKind.LOAD_GONE, 200.0, "It fell again."))
    (shown,) = bench.alarms.shown
    assert (shown.text, shown.acknowledged_ns) == ("It fell again.", None)


def test_one_that_came_and_went_between_two_looks_is_shown(bench: Bench) -> None:
    bench.found()
    bench.found(cleared(GONE, 80.0))
    assert bench.kinds() == ["load_gone"]
    assert bench.alarms.shown[0].cleared_ns is not None
    bench.alarms.acknowledge("Ada")
    bench.found(cleared(GONE, 80.0))
    assert bench.alarms.shown == ()


def test_what_had_gone_before_a_record_was_taken_up_is_past_and_what_stands_goes_on(bench: Bench) -> None:
    bench.found(cleared(GONE, 80.0), DRY, first=True)
    assert bench.kinds() == ["pot_nearly_dry"]
    bench.alarms.acknowledge("Ada")
    # The same record, begun anew a little later: nobody is told again.
    bench.found(Alarm(AlarmKind.POT_NEARLY_DRY, 60.0, "30 g are left."), first=True, start_ns=30 * SECOND_NS)
    (shown,) = bench.alarms.shown
    assert shown.acknowledged_by == "Ada"


def test_where_there_is_nothing_to_acknowledge_that_is_said(bench: Bench) -> None:
    with pytest.raises(RequestError, match="no such alarm"):
        bench.alarms.acknowledge("Ada")
    bench.found(GONE)
    with pytest.raises(RequestError, match="no such alarm"):
        bench.alarms.acknowledge("Ada", "pot_nearly_dry")
    bench.alarms.acknowledge("")
    with pytest.raises(RequestError, match="no such alarm"):
        bench.alarms.acknowledge("Ada")


def test_who_acknowledged_is_logged(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)
    bench.found(GONE)
    bench.alarms.acknowledge("Ada")
    assert "alarm acknowledged by Ada" in caplog.text


def test_what_is_found_of_the_bench_is_raised_and_cleared(bench: Bench) -> None:
    bench.alarms.judged(AlarmKind.DISK_LOW, None)
    bench.alarms.judged(AlarmKind.DISK_LOW, Safe())
    assert bench.kinds() == []
    bench.alarms.judged(AlarmKind.DISK_LOW, Danger("90 MB are left."))
    bench.alarms.judged(AlarmKind.DISK_LOW, Danger("80 MB are left."))
    bench.alarms.judged(AlarmKind.DISK_LOW, None)
    (shown,) = bench.alarms.shown
    assert (shown.text, shown.raised_ns) == ("90 MB are left.", 100 * SECOND_NS)
    bench.alarms.acknowledge("Ada")
    bench.alarms.judged(AlarmKind.DISK_LOW, Safe())
    assert bench.alarms.shown == ()


def test_more_that_is_wrong_than_ever_is_raised_anew(bench: Bench) -> None:
    bench.alarms.judged(AlarmKind.CO_HIGH, Danger("250 ppm", rank=1))
    bench.alarms.acknowledge("Ada")
    bench.alarms.judged(AlarmKind.CO_HIGH, Danger("1,300 ppm", rank=2))
    (shown,) = bench.alarms.shown
    assert (shown.text, shown.acknowledged_ns) == ("1,300 ppm", None)
    bench.alarms.acknowledge("Ada")
    for rank in (1, 2):
        bench.alarms.judged(AlarmKind.CO_HIGH, Danger("as before", rank=rank))
    assert bench.alarms.shown[0].acknowledged_by == "Ada", "what comes and goes within what was seen is nothing new"
    bench.alarms.judged(AlarmKind.CO_HIGH, Safe())
    bench.alarms.judged(AlarmKind.CO_HIGH, Danger("again", rank=1))
    assert bench.alarms.shown[0].text == "again"


def test_a_records_alarms_and_the_benchs_own_do_not_clear_each_other(bench: Bench) -> None:
    bench.alarms.judged(AlarmKind.CO_HIGH, Danger("250 ppm"))
    bench.found(GONE)
    bench.found()
    assert bench.alarms.standing() == {AlarmKind.CO_HIGH}
    assert bench.alarms.unseen() == 2


def test_whatever_happens_is_news(bench: Bench) -> None:
    bench.found(GONE)
    bench.real_s += AGAIN_S
    bench.alarms.remind()
    bench.alarms.acknowledge("Ada")
    bench.found(cleared(GONE, 150.0))
    assert [one.happening.value for one in bench.news] == ["raised", "still", "acknowledged", "gone"]
    assert {(one.bench, one.title) for one in bench.news} == {
        ("yard", "The load is gone: the stove may have tipped over")
    }
    assert bench.news[2].alarm.acknowledged_by == "Ada"
    assert bench.news[3].alarm.cleared_ns is not None
    assert bench.alarms.raised_so_far == 1
