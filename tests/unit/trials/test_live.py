import numpy as np
import pytest

import stored_burn
from emberline.bench.channels import Role
from emberline.bench.plan import empty_plan, parse_plan
from emberline.bench.samples import SampleBatch
from emberline.curves.events import Event, EventKind, Phase
from emberline.trials.estimates import Estimates
from emberline.trials.forecast import Forecast, NoForecast
from emberline.trials.live import LiveTrial
from emberline_sim.recording import Recording
from stored_burn import START_NS

WATCHED = (50, 120, 185, 225, 300, 360, 500)


@pytest.fixture(scope="module")
def burn(tmp_path_factory: pytest.TempPathFactory) -> Recording:
    return stored_burn.recording(str(tmp_path_factory.mktemp("burn")), 520.0)


@pytest.fixture(scope="module")
def followed(burn: Recording) -> tuple[LiveTrial, dict[int, Estimates], list[Event]]:
    """Follow the burn; return the trial, its estimates at some moments, and what was said."""
    channels = {channel.role: channel for channel in stored_burn.bench(burn).channels}
    live = LiveTrial(channels, parse_plan(stored_burn.plan(burn)), START_NS, char_s=600.0)
    estimates, said = {}, []
    for second, batches in enumerate(stored_burn.seconds(burn), start=1):
        said += [one for one in live.take(batches) if isinstance(one, Event)]
        if second in WATCHED:
            estimates[second] = live.estimates
    return live, estimates, said


def truth(burn: Recording, kind: str) -> float:
    return next(event.t_s for event in burn.truth.events if event.kind == kind)


def test_events_are_said_in_their_order(followed: tuple[LiveTrial, dict[int, Estimates], list[Event]]) -> None:
    live, _, said = followed
    kinds = [event.kind for event in said]
    assert kinds[:4] == [EventKind.LIT, EventKind.POT_ON, EventKind.BOIL, EventKind.POT_OFF]
    assert kinds[-1] is EventKind.FLAMEOUT
    assert live.phase is Phase.CHAR
    assert live.now_s >= 518
    assert live.start_ns == START_NS


def test_before_the_fire_there_is_nothing_to_estimate(
    followed: tuple[LiveTrial, dict[int, Estimates], list[Event]],
) -> None:
    waiting = followed[1][50]
    assert (waiting.rate_g_min, waiting.burnt_g, waiting.progress) == (None, None, None)
    assert isinstance(waiting.boil, NoForecast)
    assert isinstance(waiting.flameout, NoForecast)


@pytest.mark.parametrize("second", [120, 300, 360])
def test_the_burning_rate_is_near_the_true_one(
    burn: Recording, followed: tuple[LiveTrial, dict[int, Estimates], list[Event]], second: int
) -> None:
    estimate = followed[1][second].rate_g_min
    assert estimate is not None
    true = float(np.mean(burn.truth.curves.burning_rate_g_min[second - 20 : second]))
    assert estimate.nominal_value == pytest.approx(true, rel=0.25)


def test_through_the_boil_the_rate_is_reckoned_less_surely(
    followed: tuple[LiveTrial, dict[int, Estimates], list[Event]],
) -> None:
    before, boiling = followed[1][185], followed[1][225]
    assert boiling.held
    assert not before.held
    assert boiling.rate_g_min is not None
    assert before.rate_g_min is not None
    assert before.rate_g_min is not None
    assert boiling.rate_g_min.std_dev > before.rate_g_min.std_dev


def test_the_boil_is_forecast_before_it_comes(
    burn: Recording, followed: tuple[LiveTrial, dict[int, Estimates], list[Event]]
) -> None:
    forecast = followed[1][185].boil
    assert isinstance(forecast, Forecast)
    assert abs(forecast.t_s - truth(burn, "boil")) < 3.0 * forecast.u_s
    assert forecast.u_s < 30.0
    assert "boiled" in str(followed[1][300].boil)


def test_the_flameout_is_forecast_with_an_honest_interval(
    burn: Recording, followed: tuple[LiveTrial, dict[int, Estimates], list[Event]]
) -> None:
    forecast = followed[1][360].flameout
    assert isinstance(forecast, Forecast)
    low, high = forecast.interval_95
    assert low < truth(burn, "flameout") < high


def test_what_was_burnt_adds_up(burn: Recording, followed: tuple[LiveTrial, dict[int, Estimates], list[Event]]) -> None:
    burnt = followed[1][500].burnt_g
    assert burnt is not None
    lost = burn.truth.curves.fuel_g[0] - burn.truth.curves.fuel_g[500]
    assert burnt.nominal_value == pytest.approx(float(lost), rel=0.15)


def test_progress_runs_through_the_flame_and_begins_anew_with_the_char(
    followed: tuple[LiveTrial, dict[int, Estimates], list[Event]],
) -> None:
    shares = [followed[1][second].progress for second in (120, 300, 360, 500)]
    flaming = [share for share in shares[:3] if share is not None]
    assert flaming == sorted(flaming)
    assert 0.6 < flaming[-1] <= 1.0
    assert shares[3] is not None
    assert shares[3] < 0.2


def test_portions_of_commits_change_nothing_of_what_is_said(burn: Recording) -> None:
    channels = {channel.role: channel for channel in stored_burn.bench(burn).channels}
    said = []
    for portion in (1, 20):
        live = LiveTrial(channels, empty_plan(), START_NS)
        waiting: list[SampleBatch] = []
        heard: list[tuple[EventKind, float | None]] = []
        for second, batches in enumerate(stored_burn.seconds(burn), start=1):
            waiting += batches
            if second % portion == 0:
                heard += [(one.kind, one.announced_t_s) for one in live.take(waiting)]
                waiting = []
            if second == 120:
                break
        said.append(heard)
    assert said[0] == said[1]


def test_a_bench_without_water_says_why_there_is_no_forecast(burn: Recording) -> None:
    mass = next(channel for channel in stored_burn.bench(burn).channels if channel.role is Role.MASS)
    live = LiveTrial({Role.MASS: mass}, empty_plan(), START_NS)
    for second, batches in enumerate(stored_burn.seconds(burn), start=1):
        live.take([batch for batch in batches if batch.channel == "mass"])
        if second == 130:
            break
    assert live.estimates.boil == NoForecast("no probe is in the water")
    assert live.estimates.flameout == NoForecast("the plan gives no mass of fuel")
