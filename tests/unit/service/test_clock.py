import time
from pathlib import Path

import pytest

from emberline.service.clock import BUSY_S, Clock, fast_clock, real_clock

HOUR_NS = 3_600_000_000_000


def test_time_passes_at_the_given_pace() -> None:
    now_s = 100.0
    clock = Clock(60.0, 5_000, 100.0, lambda: now_s)
    assert clock.now_ns() == 5_000
    now_s = 101.5
    assert clock.now_ns() == 5_000 + 90_000_000_000
    assert clock.real_s(30.0) == 0.5


def test_a_real_clock_shows_utc_and_needs_no_slack() -> None:
    clock = real_clock()
    assert abs(clock.now_ns() - time.time_ns()) < 1_000_000_000
    assert clock.slack_s == 0.0


def test_limits_of_a_fast_clock_allow_for_a_busy_machine() -> None:
    assert Clock(60.0, 0, 0.0).slack_s == 59.0 * BUSY_S


def test_the_wall_clock_stepping_moves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = real_clock()
    before_ns = clock.now_ns()
    monkeypatch.setattr(time, "time_ns", lambda: before_ns - 24 * HOUR_NS)
    assert 0 <= clock.now_ns() - before_ns < 10_000_000_000


def test_a_restarted_fast_clock_is_where_it_would_have_been(tmp_path: Path) -> None:
    first = fast_clock(60.0, tmp_path, utc_ns=lambda: 1_000 * HOUR_NS)
    assert abs(first.now_ns() - 1_000 * HOUR_NS) < HOUR_NS / 60
    second = fast_clock(60.0, tmp_path, utc_ns=lambda: 1_000 * HOUR_NS + HOUR_NS // 60)
    assert abs(second.now_ns() - 1_001 * HOUR_NS) < HOUR_NS / 60


@pytest.mark.parametrize("kept", ["", "{}", '{"speed": 2.0, "origin_ns": 7}', "[1]"])
def test_an_origin_of_another_pace_or_a_damaged_one_is_replaced(tmp_path: Path, kept: str) -> None:
    (tmp_path / "clock.json").write_text(kept)
    clock = fast_clock(60.0, tmp_path, utc_ns=lambda: 1_000 * HOUR_NS)
    assert abs(clock.now_ns() - 1_000 * HOUR_NS) < HOUR_NS / 60


async def test_sleep_is_as_much_shorter_as_the_clock_is_faster() -> None:
    began_s = time.monotonic()
    await Clock(1000.0, 0, 0.0).sleep(20.0)
    assert 0.015 < time.monotonic() - began_s < 5.0
