import pytest

from emberline.service.health import Disk, HealthWatch, health_document, newest, status_line
from emberline.store.notices import Notice, NoticeKind
from emberline.trials.live_document import Recording
from unit.service.recorded_bench import SECOND_NS, RecordedBench


@pytest.fixture
def bench() -> RecordedBench:
    return RecordedBench()


@pytest.fixture
def watch(bench: RecordedBench) -> HealthWatch:
    return HealthWatch(bench.board.clock, [bench.watch])


def test_a_warning_is_logged_when_it_changes(watch: HealthWatch, caplog: pytest.LogCaptureFixture) -> None:
    for words in ("little room", "little room", "", "", "less room"):
        watch.warn("disk", words)
    assert [record.getMessage() for record in caplog.records] == ["little room", "less room"]
    assert watch.health().warnings == ("less room",)


def test_the_document_tells_everything_in_plain_values(bench: RecordedBench, watch: HealthWatch) -> None:
    bench.go_on(5.0)
    watch.disk = Disk(10, 20, 30)
    watch.address = "http://127.0.0.1:1/health"
    watch.notices = [Notice(5 * SECOND_NS, NoticeKind.CLOCK, "the clock was set")]
    document = health_document(watch.health())
    assert [one["bench"] for one in document.pop("benches")] == ["yard"]
    assert document == {
        "schema": "emberline.health/2",
        "time": "1970-01-01T00:16:45.000Z",
        "recording": "recording",
        "since": "1970-01-01T00:16:40.000Z",
        "since_s": 5.0,
        "why": "",
        "warnings": [],
        "notices": [{"time": "1970-01-01T00:00:05.000Z", "kind": "clock set", "text": "the clock was set"}],
        "store_bytes": 10,
        "journal_bytes": 20,
        "disk_free_bytes": 30,
        "address": "http://127.0.0.1:1/health",
    }


def test_the_line_for_the_service_manager_is_that_of_the_last_look_that_found_another(
    bench: RecordedBench, watch: HealthWatch
) -> None:
    for channels, lost in (((), 0), (("mass",), 0), ((), 3)):
        bench.commit(*channels, lost=lost)
        watch.look()
        assert watch.status_line() == status_line(watch.health())
    bench.now_s += 60.0
    watch.look()
    assert watch.status_line() == status_line(watch.health())
    assert watch.status_line().startswith("not recording")


def test_the_status_line_says_state_beginning_and_cause(bench: RecordedBench, watch: HealthWatch) -> None:
    assert status_line(watch.health()).startswith("not recording since 1970-01-01T00:16:40.000Z: no reading has")
    bench.go_on(5.0)
    assert status_line(watch.health()) == "recording since 1970-01-01T00:16:40.000Z"
    assert watch.health().recording is Recording.RECORDING


def test_of_several_benches_the_worst_speaks_for_all_and_each_is_told(bench: RecordedBench, watch: HealthWatch) -> None:
    others = [RecordedBench(name) for name in ("shed", "barn", "hall", "loft")]
    watch.benches += [one.watch for one in others]
    for one in (bench, *others):
        one.go_on(5.0)
    assert (watch.health().recording, watch.health().why) == (Recording.RECORDING, "")
    others[0].commit(lost=7)
    health = watch.health()
    assert (health.recording, health.why) == (Recording.WITH_GAPS, "shed: 7 samples were lost")
    bench.now_s += 60.0
    health = watch.health()
    assert (health.recording, health.why) == (
        Recording.NOT_RECORDING,
        "yard: no reading comes (looking for the device)",
    )
    assert health.since_ns == 1_004.5 * SECOND_NS
    assert [one.recording.value for one in health.benches] == [
        "not recording",
        "recording with gaps",
        *["recording"] * 3,
    ]
    assert watch.health(watch.benches[2]).benches == health.benches[2:3]
    for one in others:
        one.now_s += 60.0
    assert watch.health().why.startswith("yard: no reading comes (looking for the device); shed: no")
    assert watch.health().why.endswith("; and 2 benches more")


def test_the_outage_of_each_bench_is_a_notice_that_names_it(bench: RecordedBench, watch: HealthWatch) -> None:
    shed = RecordedBench("shed")
    watch.benches.append(shed.watch)
    notices = []
    for second in range(60):
        for one in (bench, shed):
            one.now_s += 1.0
            if one is bench or not 10 <= second < 40:
                one.commit()
        notices += watch.look()
    assert [one.text.partition(":")[0] for one in notices] == ["Nothing of bench shed was recorded for 31 s"]


def test_only_the_newest_notices_are_shown() -> None:
    notices = [Notice(i, NoticeKind.OUTAGE, str(i)) for i in range(9)]
    assert newest(notices) == notices[-5:]
    assert newest(notices[:2]) == notices[:2]


def test_a_daemon_that_has_heard_of_no_bench_yet_records_nothing_and_says_why(bench: RecordedBench) -> None:
    watch = HealthWatch(bench.board.clock)
    begun_ns = bench.board.clock.now_ns()
    bench.now_s += 5.0
    health = watch.health()
    assert (health.recording, health.since_ns) == (Recording.NOT_RECORDING, begun_ns)
    assert "no bench has been heard of yet" in health.why
    document = health_document(health)
    assert (document["benches"], document["since_s"]) == ([], 5.0)
