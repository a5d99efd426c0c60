import logging

import pytest

from emberline.service.bench_health import bench_document
from emberline.store.notices import NoticeKind
from unit.service.recorded_bench import SECOND_NS, RecordedBench


@pytest.fixture
def bench() -> RecordedBench:
    return RecordedBench()


def test_before_the_first_reading_nothing_is_recorded_and_that_is_said(bench: RecordedBench) -> None:
    assert bench.wait(30.0) == []
    state, since_s, why = bench.state()
    assert (state, since_s) == ("not recording", 1_000.0)
    assert "no reading has come yet (looking for the device)" in why


def test_recording_begins_with_the_first_commit(bench: RecordedBench) -> None:
    bench.wait(10.0)
    assert bench.go_on(5.0) == [], "what came before the first reading is no outage"
    assert bench.state() == ("recording", 1_010.0, "")


def test_not_recording_since_the_last_commit(bench: RecordedBench, caplog: pytest.LogCaptureFixture) -> None:
    bench.go_on(5.0)
    last_s = bench.now_s - 0.5
    bench.wait(20.0)
    assert bench.state()[:2] == ("not recording", last_s)
    assert [record.getMessage() for record in caplog.records if record.levelno == logging.WARNING] == [
        "yard: not recording: no reading comes (looking for the device)"
    ]


def test_an_outage_leaves_a_notice_with_the_cause_that_lasted(bench: RecordedBench) -> None:
    bench.go_on(5.0)
    began_s = bench.now_s - 0.5
    bench.board.counts.trouble = "the disk is full: free some room"
    bench.wait(60.0)
    bench.board.counts.trouble = ""
    (notice,) = bench.go_on(5.0)
    assert (notice.t_ns, notice.kind) == (int(began_s * SECOND_NS), NoticeKind.OUTAGE)
    assert notice.text.startswith("Nothing of bench yard was recorded for 1 min")
    assert "the disk is full: free some room. What" in notice.text


def test_a_short_outage_is_no_notice(bench: RecordedBench) -> None:
    bench.go_on(5.0)
    bench.wait(8.0)
    assert bench.state()[0] == "not recording"
    assert bench.go_on(5.0) == []


def test_a_bench_that_loses_samples_for_weeks_takes_no_more_memory_for_it(bench: RecordedBench) -> None:
    bench.go_on(5.0)
    for _ in range(50):
        bench.commit(lost=1)
        bench.look()
    assert bench.state()[2] == "50 samples were lost"
    assert len(bench.watch._causes) == 1


def test_losses_and_a_silent_channel_are_gaps(bench: RecordedBench) -> None:
    bench.go_on(5.0)
    bench.go_on(8.0, "mass")
    assert bench.state() == ("recording with gaps", 1_010.0, "no reading of water")
    bench.commit("mass", "water", lost=7)
    bench.look()
    assert bench.state()[2] == "7 samples were lost"


def test_a_store_that_does_not_answer_is_told_from_a_device_that_is_silent(bench: RecordedBench) -> None:
    bench.go_on(5.0)
    bench.wait(6.0)
    assert "no reading comes" in bench.state()[2]
    bench.board.counts.held = 120
    bench.wait(6.0)
    assert "120 readings wait for the store" in bench.state()[2]


def test_the_state_is_current_even_between_two_looks(bench: RecordedBench) -> None:
    bench.go_on(5.0)
    bench.now_s += 60.0
    assert bench.state()[:2] == ("not recording", 1_004.5)


def test_what_failed_on_the_way_of_the_readings_is_the_cause(bench: RecordedBench) -> None:
    bench.go_on(5.0)
    bench.board.report("link", "link of yard failed, and is started again: a bug")
    bench.wait(6.0)
    assert bench.state()[2] == "link of yard failed, and is started again: a bug"
    assert bench.board.document()["trouble"] == "link of yard failed, and is started again: a bug"


def test_the_document_of_a_bench_tells_everything_in_plain_values(bench: RecordedBench) -> None:
    bench.go_on(5.0)
    assert bench_document(bench.watch.health(), bench.board.clock.now_ns()) == {
        "bench": "yard",
        "recording": "recording",
        "since": "1970-01-01T00:16:40.000Z",
        "since_s": 5.0,
        "why": "",
        "link": "looking for the device",
        "last_commit": "1970-01-01T00:16:44.500Z",
        "last_commit_age_s": 0.5,
        "trial": None,
        "samples": {"stored": 20, "repeated": 0, "lost": 0},
    }
