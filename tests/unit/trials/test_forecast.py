"""Forecasts, against ramps whose end is known and against the simulated burns, whose boil the forecast cannot know."""

import numpy as np
import pytest
from uncertainties import ufloat

from emberline.trials.forecast import Forecast, NoForecast, PotFacts, forecast_boil, forecast_flameout

PRESSURE_PA = 97_700.0
POT = PotFacts(ufloat(99.0, 0.5), PRESSURE_PA, ufloat(500.0, 1.0), lid=True)


def ramp(rate_k_s: float, seconds: int, start_c: float = 18.0, noise_c: float = 0.1, seed: int = 1) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return start_c + rate_k_s * np.arange(seconds) + rng.normal(0.0, noise_c, seconds)


def why(found: Forecast | NoForecast) -> str:
    assert isinstance(found, NoForecast)
    return found.why


def test_a_ramp_under_a_lid_is_nearly_straight() -> None:
    found = forecast_boil(ramp(0.25, 200), 500.0, POT)
    assert isinstance(found, Forecast)
    straight_s = 500.0 + (99.0 - 18.0 - 0.25 * 199) / 0.25
    assert straight_s < found.t_s < straight_s + 0.25 * (straight_s - 500.0)
    low, high = found.interval_95
    assert low < found.t_s < high


def test_an_open_pot_takes_longer_because_it_steams() -> None:
    curve = ramp(0.2, 250)
    open_pot = forecast_boil(curve, 250.0, PotFacts(POT.boiling_c, PRESSURE_PA, POT.water_g, lid=False))
    covered = forecast_boil(curve, 250.0, POT)
    assert isinstance(open_pot, Forecast)
    assert isinstance(covered, Forecast)
    assert open_pot.t_s > covered.t_s
    assert open_pot.u_s > covered.u_s


def test_the_interval_reaches_as_far_as_a_weaker_fire_is_late() -> None:
    # Heat that is known to 12 % and wanders by 12 % in three minutes: with 17 % less the water warms by a fifth slower.
    pot = PotFacts(ufloat(99.0, 0.01), PRESSURE_PA, POT.water_g, lid=False)
    since = np.arange(200, dtype=np.float64) - 199.0
    found, weaker = (forecast_boil(70.0 + share * 0.2 * since, 200.0, pot) for share in (1.0, 0.8))
    assert isinstance(found, Forecast)
    assert isinstance(weaker, Forecast)
    assert found.u_s > weaker.t_s - found.t_s


def test_the_interval_narrows_as_the_boil_comes_near() -> None:
    curve = ramp(0.25, 300)
    widths = []
    for now in (120, 200, 280):
        found = forecast_boil(curve[:now], float(now), POT)
        assert isinstance(found, Forecast)
        widths.append(found.u_s)
    assert widths == sorted(widths, reverse=True)


def test_a_probe_that_is_less_sure_widens_the_interval() -> None:
    curve = ramp(0.25, 250)
    sure, unsure = (
        forecast_boil(curve, 250.0, PotFacts(ufloat(99.0, u), PRESSURE_PA, POT.water_g, lid=True)) for u in (0.2, 3.0)
    )
    assert isinstance(sure, Forecast)
    assert isinstance(unsure, Forecast)
    # 3 K at 0.25 K/s, and a little more since the ramp bends.
    assert (unsure.u_s**2 - sure.u_s**2) ** 0.5 == pytest.approx(3.0 / 0.25, rel=0.2)


@pytest.mark.parametrize(
    ("curve", "reason"),
    [
        (ramp(0.25, 20), "too few readings"),
        (np.full(200, np.nan), "too few readings"),
        (ramp(0.02, 100), "hardly begun"),
        (ramp(0.0, 200, start_c=60.0), "does not rise"),
        (ramp(-0.1, 200, start_c=80.0), "does not rise"),
        (ramp(0.05, 200, start_c=90.0), "boiling point"),
        (ramp(0.015, 200, start_c=40.0), "stays below|too slow"),
    ],
)
def test_where_nothing_can_be_said_the_reason_is(curve: np.ndarray, reason: str) -> None:
    import re

    assert re.search(reason, why(forecast_boil(curve, 200.0, POT)))


def test_a_weak_fire_under_an_open_pot_is_told_not_to_boil_it() -> None:
    pot = PotFacts(ufloat(99.0, 0.5), PRESSURE_PA, ufloat(800.0, 1.0), lid=False)
    found = forecast_boil(ramp(0.03, 200, start_c=70.0), 200.0, pot)
    assert "stays below" in why(found)


def test_flameout_is_the_fuel_left_but_for_its_char_over_the_rate_and_a_while_of_dying() -> None:
    found = forecast_flameout(
        600.0, ufloat(300.0, 1.0), ufloat(100.0, 2.0), ufloat(0.15, 0.005), ufloat(0.10, 0.005), lit_s=100.0
    )
    assert isinstance(found, Forecast)
    left_s = (300.0 - 0.9 * 0.20 * 300.0 - 100.0) / 0.15
    assert found.t_s == pytest.approx(600.0 + left_s + 0.14 * (500.0 + left_s))
    # Char share 0.05 x 270 g, 2 g burnt, 3 % on the rate now, 16 % in five minutes on what becomes of it and 11 % of
    # the time in flame, in quadrature (JCGM 100:2008, 5.1.2), and the 20 s over which a fire dies.
    parts = [0.05 * 270.0 / 0.15, 2.0 / 0.15, left_s * 0.0333, left_s * 0.16 * (left_s / 300.0) ** 0.5]
    by_hand = np.sqrt(sum(part**2 for part in parts) + (0.11 * (500.0 + left_s)) ** 2) + 20.0
    assert found.u_s == pytest.approx(by_hand, rel=0.05)


@pytest.mark.parametrize(
    ("fuel", "lost", "rate", "reason"),
    [
        (None, ufloat(10.0, 1.0), ufloat(0.1, 0.01), "no mass of fuel"),
        (ufloat(300.0, 1.0), ufloat(10.0, 1.0), ufloat(0.1, 0.08), "not known well enough"),
        (ufloat(300.0, 1.0), ufloat(10.0, 1.0), ufloat(-0.1, 0.01), "not known well enough"),
        (ufloat(300.0, 1.0), ufloat(260.0, 1.0), ufloat(0.1, 0.01), "burnt down to char"),
        (ufloat(3000.0, 1.0), ufloat(10.0, 1.0), ufloat(0.1, 0.01), "more than an hour"),
    ],
)
def test_where_no_flameout_can_be_told_the_reason_is(fuel: object, lost: object, rate: object, reason: str) -> None:
    assert reason in why(forecast_flameout(100.0, fuel, lost, rate, lit_s=0.0))
