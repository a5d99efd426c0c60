"""The short forms of `deploy/bench kills`, `outage` and `soak`, and what judges them."""

import math
import random
from collections.abc import Callable
from pathlib import Path

import pytest

from benchmarks.kills.running import burn_with_kills
from benchmarks.outage import running as outage
from benchmarks.service.verdict import Bar, at_most, tell
from benchmarks.soak import running as soak
from benchmarks.soak.course import Course
from broker_fixture import Broker

KILLS = 4


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


@pytest.mark.timeout(300)
async def test_an_outage_of_ten_minutes_costs_no_sample(tmp_path: Path, broker: Broker) -> None:
    del broker  # skips where there is no such program; the benchmark runs its own
    found = await outage.run(tmp_path / "outage", outage.Plan(outage_s=600.0, speed=60.0, returns=0), lambda _: None)
    assert found.taken > 0
    assert (found.unaccounted, found.doubled, found.lost) == (0, 0, 0)
    assert (len(found.broker_s), len(found.cable_s)) == (2, 1)
    # The bar is 5 s; the rest is a busy machine's.
    assert max(*found.broker_s, *found.cable_s) < 20.0


@pytest.mark.timeout(240)
async def test_a_soak_of_a_burn_on_each_link_accounts_for_every_sample(tmp_path: Path, broker: Broker) -> None:
    del broker  # skips where there is no such program; the benchmark runs its own
    found = await soak.run(tmp_path / "soak", 4.0, 76, lambda _: None, burn_s=200.0)
    assert found.burns == 2
    assert {"unplug", "double", "junk", "bits"} <= found.faults.keys(), "another seed is needed"
    assert found.taken > 0
    assert (found.unaccounted, found.doubled, found.unnamed) == (0, 0, 0)
    for course in found.courses.values():
        assert min(*course.rss_mb, *course.files, *course.threads) > 0


def memory(minutes: float, mb: Callable[[float], float], burns_h: Callable[[float], float] = lambda _: 120.0) -> Course:
    """Return a course of memory, a value every two seconds with noise, by a law of the time in hours.

    Args:
        minutes: Its length.
        mb: What is kept for good.
        burns_h: Burns an hour; each takes 8 MB for the first 0.8 of it.
    """
    dice = random.Random(5)
    course, burns = Course(), 0.0
    for step in range(int(30.0 * minutes)):
        t_s = 2.0 * step
        course.t_s.append(t_s)
        course.burn.append(int(burns))
        course.rss_mb.append(mb(t_s / 3600.0) + (8.0 if burns % 1.0 < 0.8 else 0.0) + dice.gauss(0.0, 0.05))
        burns += 2.0 / 3600.0 * burns_h(t_s / 3600.0)
    return course


def test_a_leak_is_found_under_what_burns_take_and_give_back() -> None:
    course = memory(30.0, lambda at_h: 50.0 + 6.0 * at_h)
    slope = course.slope(course.rss_mb)
    assert slope.mb_h == pytest.approx(6.0, abs=0.5)
    assert slope.low_mb_h < 6.0 < slope.high_mb_h


def test_a_machine_that_gets_busier_makes_no_leak() -> None:
    # Where a burn takes longer than a minute, the lowest value of a minute is one of the burn and not of what is kept.
    course = memory(30.0, lambda _: 50.0, lambda at_h: 120.0 if at_h < 0.35 else 24.0)
    assert course.slope(course.rss_mb).mb_h == pytest.approx(0.0, abs=0.5)


def test_what_fills_once_and_then_stays_is_no_leak() -> None:
    course = memory(30.0, lambda at_h: 50.0 + min(2.0, 16.0 * at_h))
    assert course.slope(course.rss_mb).mb_h == pytest.approx(0.0, abs=0.5)


def test_a_course_too_short_for_a_slope_has_none() -> None:
    course = memory(2.0, lambda _: 50.0)
    assert math.isnan(course.slope(course.rss_mb).mb_h)


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
