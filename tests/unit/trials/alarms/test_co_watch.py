import numpy as np
import pytest

from emberline.bench.channels import Role, default_channel
from emberline.bench.co_limits import CO_LIMITS
from emberline.trials.alarms.alarm import Danger, Safe, Verdict
from emberline.trials.alarms.co_watch import NO_SUBSTITUTE, CoState, CoWatch

NOON_NS = 1_764_072_000 * 10**9
HOUR_S = 3_600


class Air:
    """Air in which a person sets the carbon monoxide, read once a second."""

    def __init__(self, *names: str) -> None:
        limits = [CO_LIMITS[name] for name in names] if names else list(CO_LIMITS.values())
        self.watch = CoWatch(default_channel(Role.CO), limits)
        self.second = 0

    def holds(self, ppm: float, seconds: int) -> "Air":
        t_ns = NOON_NS + (self.second + np.arange(seconds, dtype=np.int64)) * 10**9
        self.watch.take(t_ns, np.full(seconds, ppm))
        self.second += seconds
        return self

    def unmeasured(self, seconds: int) -> "Air":
        self.second += seconds
        return self

    def verdicts(self) -> tuple[Verdict, Verdict]:
        standings = self.watch.look(NOON_NS + (self.second - 1) * 10**9)
        return self.watch.ceilings(standings), self.watch.means(standings)

    def states(self) -> dict[str, str]:
        standings = self.watch.look(NOON_NS + (self.second - 1) * 10**9)
        return {one.limit.name: one.state.value for one in standings}


def danger(verdict: Verdict) -> Danger:
    assert isinstance(verdict, Danger), verdict
    return verdict


def test_clean_air_is_below_what_is_known_and_the_rest_is_not_known() -> None:
    states = Air().holds(1.0, 1_000).states()
    assert states["who-15min"] == states["idlh"] == CoState.BELOW
    assert states["who-1h"] == states["who-8h"] == states["who-24h"] == CoState.UNKNOWN


def test_a_mean_is_known_once_three_quarters_of_it_were_measured() -> None:
    air = Air("who-1h").holds(2.0, 2_690)
    assert air.states() == {"who-1h": CoState.UNKNOWN}
    assert air.holds(2.0, 10).states() == {"who-1h": CoState.BELOW}


def test_a_gap_makes_a_mean_unknown_again() -> None:
    air = Air("who-15min").holds(2.0, 900)
    assert air.states() == {"who-15min": CoState.BELOW}
    assert air.unmeasured(300).states() == {"who-15min": CoState.UNKNOWN}


def test_a_mean_above_its_limit_is_told_with_the_limits_name_and_the_caution() -> None:
    _, verdict = Air("who-15min").holds(95.0, 900).verdicts()
    text = danger(verdict).text
    assert "95 ± 21 ppm in the mean of 15 min, above the WHO guideline, 15 minutes: 87 ppm" in text
    assert NO_SUBSTITUTE in text


def test_what_is_certain_is_told_before_the_period_is_over() -> None:
    """Half an hour at 160 ppm is more than eight hours at 10 may hold, whatever was in the air before."""
    air = Air("who-8h")
    for _ in range(60):
        air.holds(160.0, 30)
        _, verdict = air.verdicts()
        certain = 160.0 * air.second > CO_LIMITS["who-8h"].ppm * 8 * HOUR_S
        assert isinstance(verdict, Danger) is certain
        if isinstance(verdict, Danger):
            assert (
                "26 min at 160 ± 33 ppm are more than the WHO guideline, 8 hours: 8.7 ppm, allows in 8 h"
                in verdict.text
            )
            break
    else:
        pytest.fail("never told")


def test_a_short_time_of_little_raises_no_mean_over_hours() -> None:
    _, verdict = Air("who-8h", "who-24h").holds(30.0, 600).verdicts()
    assert isinstance(verdict, Safe)


def test_it_is_cleared_well_below_the_limit_and_only_where_that_is_known() -> None:
    air = Air("eu-15min").holds(120.0, 900)
    danger(air.verdicts()[1])
    # The mean falls to 90 ppm: below the limit, and not by enough.
    danger(air.holds(90.0, 900).verdicts()[1])
    # Nothing is measured for an hour: what is above stays so.
    assert air.unmeasured(HOUR_S).states() == {"eu-15min": CoState.ABOVE}
    assert isinstance(air.holds(70.0, 900).verdicts()[1], Safe)


def test_a_ceiling_is_told_within_half_a_minute_and_a_spark_is_not() -> None:
    air = Air().holds(20.0, 60).holds(900.0, 4).holds(20.0, 56)
    assert isinstance(air.verdicts()[0], Safe)
    verdict = danger(air.holds(250.0, 25).verdicts()[0])
    assert "250 ± 50 ppm: above the US workplace ceiling (NIOSH): 200 ppm" in verdict.text
    assert "cannot be smelt" in verdict.text


def test_more_limits_that_are_passed_are_a_higher_rank() -> None:
    air = Air("niosh-ceiling", "idlh").holds(250.0, 60)
    first = danger(air.verdicts()[0])
    second = danger(air.holds(1_500.0, 60).verdicts()[0])
    assert (first.rank, second.rank) == (1, 2)


def test_a_ceiling_is_cleared_below_and_not_by_silence() -> None:
    air = Air("niosh-ceiling").holds(250.0, 60)
    danger(air.verdicts()[0])
    danger(air.unmeasured(600).verdicts()[0])
    danger(air.holds(190.0, 60).verdicts()[0])
    assert isinstance(air.holds(100.0, 60).verdicts()[0], Safe)


def test_readings_of_before_count() -> None:
    earlier = Air("who-15min").holds(95.0, 800)
    later = Air("who-15min")
    later.second = 800
    later.holds(95.0, 100)
    assert later.states() == {"who-15min": CoState.UNKNOWN}
    later.watch.add(earlier.watch._means)
    assert later.states() == {"who-15min": CoState.ABOVE}


def test_without_limits_nothing_is_judged() -> None:
    watch = CoWatch(default_channel(Role.CO), ())
    assert watch.look(NOON_NS) == ()
    assert watch.ceilings(()) is None
    assert watch.means(()) is None


def test_of_several_limits_the_one_that_is_passed_most_comes_first_and_all_are_named() -> None:
    _, verdict = Air("who-15min", "who-8h", "eu-15min").holds(300.0, 1_200).verdicts()
    text = danger(verdict).text
    assert text.startswith("Carbon monoxide: 300 ± 60 ppm in the mean of 15 min, above the WHO guideline, 15 minutes")
    assert (
        "; above its limit, too: WHO guideline, 8 hours: 8.7 ppm, EU workplace limit, 15 minutes: 100 ppm. Let" in text
    )
