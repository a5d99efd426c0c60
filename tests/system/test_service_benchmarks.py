"""The short forms of `deploy/bench kills`, `outage` and `soak`, and what judges them."""

import random
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from benchmarks.kills.running import burn_with_kills
from benchmarks.service.verdict import Bar, at_most, tell
from benchmarks.soak.course import Course
from broker_fixture import Broker
from live_fixture import end_worker_threads

KILLS = 4


@pytest.fixture(autouse=True)
async def no_worker_left() -> AsyncIterator[None]:
    yield
    await end_worker_threads()


@pytest.mark.timeout(240)
@pytest.mark.parametrize("way", ["serial", "broker"])
async def test_a_daemon_killed_at_random_moments_loses_nothing_and_finds_the_same(
    tmp_path: Path, way: str, request: pytest.FixtureRequest
) -> None:
    broker: Broker | None = request.getfixturevalue("broker") if way == "broker" else None
    found = await burn_with_kills(tmp_path, random.Random(f"20251125 {way}"), KILLS, broker, speed=40.0)
    assert (found.account.unaccounted, found.account.doubled, found.account.lost) == (0, 0, 0)
    assert found.replay == ""
    assert found.events == ("lit", "pot_on", "boil", "pot_off", "flameout")


def test_a_slope_is_found_after_the_warm_up_with_its_uncertainty() -> None:
    dice = random.Random(5)
    t_s = [10.0 * step for step in range(200)]
    rss_mb = [(20.0 if at < 500.0 else 50.0) + 6.0 * at / 3600.0 + dice.gauss(0.0, 0.05) for at in t_s]
    course = Course(t_s, rss_mb)
    assert course.slope_mb_h() == pytest.approx(6.0, abs=4.0 * course.u_slope_mb_h())
    assert course.u_slope_mb_h() < 0.1


def test_growth_is_told_from_a_passing_peak() -> None:
    course = Course([float(step) for step in range(100)])
    steady = [20] * 100
    assert course.growth([*steady[:60], 90, *steady[61:]]) == 0
    assert course.growth([20 + step // 10 for step in range(100)]) == 4


def test_a_missed_bar_ends_with_code_1_and_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bars = [at_most("lost", 0, 0), Bar("far", 7.0, "at most 5 s", holds=False)]
    with pytest.raises(SystemExit) as ended:
        tell("outage", {"taken": 12_345}, bars, tmp_path / "found.json")
    assert ended.value.code == 1
    said = capsys.readouterr().out
    assert "12,345" in said
    assert said.splitlines()[-1] == "outage: a bar is missed"
    assert '"holds": false' in (tmp_path / "found.json").read_text()
