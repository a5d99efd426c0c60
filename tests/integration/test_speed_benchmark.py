"""The speed benchmark measures what it says: in turns, the same samples in every way, misses told by how much."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from benchmarks.accuracy.pace import hour
from benchmarks.service.timing import in_turns
from benchmarks.service.verdict import at_least, at_most
from benchmarks.speed import ingest, many, rivals, room, wire
from benchmarks.speed.figures import Figure, Other
from benchmarks.speed.hour import bench_of, rows_of, seconds_of
from emberline.bench.bench_file import Bench
from emberline.bench.plan import empty_plan
from emberline.store.blocks import Commit


@pytest.fixture(scope="module")
def burn() -> tuple[Bench, list[Commit]]:
    recording = hour()
    return bench_of(recording), seconds_of(recording, 130.0)


def test_ways_are_timed_in_turns_and_the_order_turns_as_well() -> None:
    now_s, order = 0.0, []

    def taking(name: str, seconds: Iterator[float]) -> None:
        nonlocal now_s
        order.append(name)
        now_s += next(seconds)

    slow, fast = iter([9.0, 3.0, 5.0, 4.0]), iter([9.0, 1.0, 1.0, 2.0])
    taken_s = in_turns({"slow": lambda: taking("slow", slow), "fast": lambda: taking("fast", fast)}, 3, lambda: now_s)
    assert taken_s == {"slow": 4.0, "fast": 1.0}
    assert order == ["slow", "fast", "slow", "fast", "fast", "slow", "slow", "fast"]


def test_a_bar_says_by_how_much_it_is_missed() -> None:
    assert at_most("x", 1.5, 1.0).verdict == "missed by 50 %"
    assert at_least("x", 7.5, 10.0).verdict == "missed by 25 %"
    assert at_least("x", 10.0, 10.0).verdict == at_most("x", 1.0, 1.0).verdict == "holds"
    assert at_most("lost", 2.0, 0.0).verdict == "missed"


def test_a_figure_is_told_against_its_baseline_and_its_limit() -> None:
    figure = Figure("x", 30.0, "1/s", Other("plain", 10.0), Other("least", 60.0))
    assert (figure.by_baseline, figure.by_limit) == (3.0, 0.5)


def test_frames_are_full_and_read_in_every_way() -> None:
    messages, line = wire._full_frames(20)
    assert 500 <= len(line) / 20 <= 512
    assert len({len(message) for message in messages}) == 1
    figures, bars = wire.measure(1, frames=20)
    assert all(figure.value > 0.0 for figure in figures)
    assert len(bars) == 2


def test_many_trials_are_worked_out_by_a_loop_and_by_the_command(
    burn: tuple[Bench, list[Commit]], tmp_path: Path
) -> None:
    (figure,), (bar,) = many.measure(tmp_path / "many", burn[1], "", 2)
    assert figure.limit is not None
    assert figure.value > figure.limit.value > 0.0
    assert bar.value == pytest.approx(1.0 / figure.by_limit)


def test_the_burn_comes_as_its_host_would_store_it(burn: tuple[Bench, list[Commit]]) -> None:
    bench, commits = burn
    rows = rows_of(commits)
    assert len({(row[3], row[4]) for row in rows}) == len(rows)
    assert {row[3] for row in rows} >= {channel.name for channel in bench.channels}
    assert 40 * 125 < len(rows) < 44 * 130


def test_the_same_samples_are_kept_in_every_way(burn: tuple[Bench, list[Commit]], tmp_path: Path) -> None:
    bench, commits = burn
    figures, _ = room.measure(tmp_path, bench, commits, 1)
    rows = len(rows_of(commits))
    assert (tmp_path / "rows.csv").read_text(encoding="utf-8").count("\n") == rows
    with closing(sqlite3.connect(tmp_path / "rows.db")) as plain:
        assert plain.execute("SELECT count(*) FROM samples").fetchone() == (rows,)
    assert all(figure.value > 0.0 for figure in figures)


def test_commits_and_tracking_are_measured(burn: tuple[Bench, list[Commit]], tmp_path: Path) -> None:
    bench, commits = burn
    (commit,) = ingest.measure_commits(tmp_path, commits, 1)
    (tracking,) = ingest.measure_tracking(bench, empty_plan(), commits)
    assert commit.value > 0.0
    assert tracking.limit is not None
    assert 1.0 < tracking.value < tracking.limit.value
    with closing(sqlite3.connect(tmp_path / "ingest.db")) as store:
        assert store.execute("SELECT count(*) FROM blocks").fetchone() == (2 * ingest.AT_A_TIME,)


def test_a_rival_is_as_near_only_where_nothing_is_worse() -> None:
    ours = rivals.Reached((1.5, 2.0), 3, 0.1)
    assert rivals.Reached((1.5, 1.0), 3, 9.0).as_near_as(ours)
    assert not rivals.Reached((1.6, 1.0), 0, 0.01).as_near_as(ours)
    assert not rivals.Reached((1.0, 1.0), 4, 0.01).as_near_as(ours)


def test_every_setting_of_the_rival_is_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rivals, "SETTINGS", rivals.SETTINGS[:2])
    figures, (bar,) = rivals.measure(2)
    assert [figure.unit for figure in figures] == ["s", "s", "events"]
    assert "2 settings" in bar.limit or bar.limit.startswith("less than")
