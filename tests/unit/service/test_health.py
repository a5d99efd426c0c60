import logging

import numpy as np
import pytest

from emberline.bench.bench_file import default_bench
from emberline.bench.channels import Role
from emberline.bench.samples import SampleBatch
from emberline.service.board import Board
from emberline.service.clock import Clock
from emberline.service.health import Disk, HealthWatch, health_document, iso, newest, span_words, status_line
from emberline.service.ingest import IngestCounts
from emberline.store.notices import Notice, NoticeKind
from emberline.store.records import CommitReceipt, Gap
from emberline.trials.live_document import Recording

SECOND_NS = 1_000_000_000


class Bench:
    """A bench whose time and commits are the test's."""

    def __init__(self) -> None:
        self.now_s = 1_000.0
        self.board = Board("yard", Clock(1.0, 0, 0.0, lambda: self.now_s), IngestCounts())
        self.board.fitted = default_bench([Role.WATER, Role.MASS])
        self.watch = HealthWatch(self.board, self.board.clock)

    def commit(self, *channels: str, lost: int = 0) -> None:
        at_ns = np.array([int(self.now_s * SECOND_NS)], dtype=np.int64)
        batches = tuple(
            SampleBatch("dev", 1, channel, 0, at_ns, np.array([20.0]), np.zeros(1, dtype=np.uint8))
            for channel in channels or ("mass", "water")
        )
        gaps = (Gap("dev", 1, "mass", 0, lost, 0, 1, "made up"),) if lost else ()
        counts = self.board.counts
        counts.commits += 1
        counts.committed += len(batches)
        counts.lost += lost
        counts.last_commit_ns = self.board.clock.now_ns()
        self.board.committed(CommitReceipt(1, batches, 0, gaps))

    def go_on(self, seconds: float, *channels: str, step_s: float = 0.5) -> list[Notice]:
        """Commit and look, as a running bench does."""
        notices = []
        for _ in range(round(seconds / step_s)):
            self.commit(*channels)
            notices += self.look()
            self.now_s += step_s
        return notices

    def wait(self, seconds: float, step_s: float = 0.5) -> list[Notice]:
        """Look while nothing comes."""
        notices = []
        for _ in range(round(seconds / step_s)):
            self.now_s += step_s
            notices += self.look()
        return notices

    def look(self) -> list[Notice]:
        notice = self.watch.look()
        return [] if notice is None else [notice]

    def state(self) -> tuple[str, float, str]:
        health = self.watch.health()
        return health.recording.value, health.since_ns / SECOND_NS, health.why


@pytest.fixture
def bench() -> Bench:
    return Bench()


def test_before_the_first_reading_nothing_is_recorded_and_that_is_said(bench: Bench) -> None:
    assert bench.wait(30.0) == []
    state, since_s, why = bench.state()
    assert (state, since_s) == ("not recording", 1_000.0)
    assert "no reading has come yet (looking for the device)" in why


def test_recording_begins_with_the_first_commit(bench: Bench) -> None:
    bench.wait(10.0)
    assert bench.go_on(5.0) == [], "what came before the first reading is no outage"
    assert bench.state() == ("recording", 1_010.0, "")


def test_not_recording_since_the_last_commit(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    bench.go_on(5.0)
    last_s = bench.now_s - 0.5
    bench.wait(20.0)
    assert bench.state()[:2] == ("not recording", last_s)
    assert [record.getMessage() for record in caplog.records if record.levelno == logging.WARNING] == [
        "not recording: no reading comes (looking for the device)"
    ]


def test_an_outage_leaves_a_notice_with_the_cause_that_lasted(bench: Bench) -> None:
    bench.go_on(5.0)
    began_s = bench.now_s - 0.5
    bench.board.counts.trouble = "the disk is full: free some room"
    bench.wait(60.0)
    bench.board.counts.trouble = ""
    (notice,) = bench.go_on(5.0)
    assert (notice.t_ns, notice.kind) == (int(began_s * SECOND_NS), NoticeKind.OUTAGE)
    assert notice.text.startswith("Nothing was recorded for 1 min")
    assert "the disk is full: free some room. What" in notice.text


def test_a_short_outage_is_no_notice(bench: Bench) -> None:
    bench.go_on(5.0)
    bench.wait(8.0)
    assert bench.state()[0] == "not recording"
    assert bench.go_on(5.0) == []


def test_losses_and_a_silent_channel_are_gaps(bench: Bench) -> None:
    bench.go_on(5.0)
    bench.go_on(8.0, "mass")
    assert bench.state() == ("recording with gaps", 1_010.0, "no reading of water")
    bench.commit("mass", "water", lost=7)
    bench.look()
    assert bench.state()[2] == "7 samples were lost"


def test_a_store_that_does_not_answer_is_told_from_a_device_that_is_silent(bench: Bench) -> None:
    bench.go_on(5.0)
    bench.wait(6.0)
    assert "no reading comes" in bench.state()[2]
    bench.board.counts.held = 120
    bench.wait(6.0)
    assert "120 readings wait for the store" in bench.state()[2]


def test_the_state_is_current_even_between_two_looks(bench: Bench) -> None:
    bench.go_on(5.0)
    bench.now_s += 60.0
    assert bench.state()[:2] == ("not recording", 1_004.5)


def test_a_warning_is_logged_when_it_changes(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    for words in ("little room", "little room", "", "", "less room"):
        bench.watch.warn("disk", words)
    assert [record.getMessage() for record in caplog.records] == ["little room", "less room"]
    assert bench.watch.health().warnings == ("less room",)


def test_the_document_tells_everything_in_plain_values(bench: Bench) -> None:
    bench.go_on(5.0)
    bench.watch.disk = Disk(10, 20, 30)
    bench.watch.address = "http://127.0.0.1:1/health"
    bench.watch.notices = [Notice(5 * SECOND_NS, NoticeKind.CLOCK, "the clock was set")]
    document = health_document(bench.watch.health())
    assert document == {
        "schema": "emberline.health/1",
        "bench": "yard",
        "time": "1970-01-01T00:16:45.000Z",
        "recording": "recording",
        "since": "1970-01-01T00:16:40.000Z",
        "since_s": 5.0,
        "why": "",
        "link": "looking for the device",
        "last_commit": "1970-01-01T00:16:44.500Z",
        "last_commit_age_s": 0.5,
        "trial": None,
        "samples": {"stored": 20, "repeated": 0, "lost": 0},
        "warnings": [],
        "notices": [{"time": "1970-01-01T00:00:05.000Z", "kind": "clock set", "text": "the clock was set"}],
        "store_bytes": 10,
        "journal_bytes": 20,
        "disk_free_bytes": 30,
        "address": "http://127.0.0.1:1/health",
    }


def test_the_status_line_says_state_beginning_and_cause(bench: Bench) -> None:
    assert status_line(bench.watch.health()).startswith("not recording since 1970-01-01T00:16:40.000Z: no reading has")
    bench.go_on(5.0)
    assert status_line(bench.watch.health()) == "recording since 1970-01-01T00:16:40.000Z"
    assert bench.watch.health().recording is Recording.RECORDING


def test_only_the_newest_notices_are_shown() -> None:
    notices = [Notice(i, NoticeKind.OUTAGE, str(i)) for i in range(9)]
    assert newest(notices) == notices[-5:]
    assert newest(notices[:2]) == notices[:2]


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.4, "0 s"),
        (59.4, "59 s"),
        (59.6, "1 min 0 s"),
        (3599.0, "59 min 59 s"),
        (7_260.0, "2 h 1 min"),
        (90_000, "1 d 1 h"),
    ],
)
def test_spans_have_two_units(seconds: float, words: str) -> None:
    assert span_words(seconds) == words


def test_moments_are_iso_8601() -> None:
    # 1764072000 s after the epoch: `date -u -d @1764072000` of GNU coreutils.
    assert iso(1_764_072_000_123_000_000) == "2025-11-25T12:00:00.123Z"
