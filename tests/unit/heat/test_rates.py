from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

import burn_fixture
from burn_fixture import BOILING_POINT, SyntheticBurn
from emberline.curves.events import Event, EventKind
from emberline.heat.account import Account
from emberline.heat.burn import Burn
from emberline.heat.errors import AbsentError
from emberline.heat.rates import equivalent_dry_rate, mean_rate, peak_rate, peak_rate_five_point, rate_10_90
from emberline.heat.result import Result

ALL = (mean_rate, peak_rate, peak_rate_five_point, rate_10_90, equivalent_dry_rate)


def burn_of(account: Account | None = None, *more: Event, without: EventKind | None = None) -> Burn:
    known, events, plan, _ = burn_fixture.usual()
    kept = tuple(event for event in events if event.kind is not without)
    return Burn(known if account is None else account, (*kept, *more), plan, BOILING_POINT)


def test_rates_of_a_trapezoid() -> None:
    burn = burn_of()
    plateau = float(np.max(burn.account.burning_rate_g_min))
    assert mean_rate(burn).nominal_value == pytest.approx(260.0 / 15.0)
    assert peak_rate(burn).nominal_value == pytest.approx(plateau)
    assert peak_rate(burn).std_dev == pytest.approx(0.15)
    assert peak_rate_five_point(burn).nominal_value == pytest.approx(plateau, rel=0.002)
    assert rate_10_90(burn).nominal_value == pytest.approx(plateau, rel=0.01)


def test_equivalent_dry_rate_is_well_below_the_raw_one() -> None:
    burn = burn_of()
    dry_g = 267.0 - (33.0 * (4.186 * 81.1 + 2257.0) + 45.0 * 29_500.0) / 18_400.0
    assert equivalent_dry_rate(burn).nominal_value == pytest.approx(dry_g / 15.0)


def test_peak_leaves_out_masked_seconds() -> None:
    account = burn_fixture.usual()[0]
    rates = account.burning_rate_g_min.copy()
    rates[400] = 500.0
    assert peak_rate(burn_of(replace(account, burning_rate_g_min=rates))).nominal_value == 500.0
    rates[400] = np.nan
    assert peak_rate(burn_of(replace(account, burning_rate_g_min=rates))).nominal_value < 25.0


def test_five_point_peak_does_not_differentiate_across_a_refuel() -> None:
    account = burn_fixture.usual()[0]
    fuel_g = account.fuel_g + np.where(account.t_s >= 500.0, 80.0, 0.0)
    burn = burn_of(replace(account, fuel_g=fuel_g), Event(EventKind.REFUEL, 500.0, 1.0, "step up", ufloat(80.0, 0.5)))
    assert peak_rate_five_point(burn).nominal_value < 25.0


def test_five_point_peak_owns_up_to_its_noise() -> None:
    account = burn_fixture.usual()[0]
    noisy = account.fuel_g + np.random.default_rng(5).normal(0.0, 0.2, len(account.fuel_g))
    peak = peak_rate_five_point(burn_of(replace(account, fuel_g=noisy)))
    # ISO 5660-1's interior weights have a noise gain of 0.95 over the spacing; five masses go into each mean.
    assert peak.std_dev == pytest.approx(60.0 * 0.95 * 0.2 / 5**0.5 / 5.0, rel=0.2)


def test_no_mean_across_a_refuel() -> None:
    with pytest.raises(AbsentError, match="across a refuel"):
        rate_10_90(burn_of(None, Event(EventKind.REFUEL, 500.0, 1.0, "step up", ufloat(80.0, 0.5))))


@pytest.mark.parametrize("kind", [EventKind.LIT, EventKind.FLAMEOUT])
@pytest.mark.parametrize("rate", ALL)
def test_rates_need_lighting_and_flameout(rate: Callable[[Burn], UFloat], kind: EventKind) -> None:
    with pytest.raises(AbsentError):
        rate(burn_of(without=kind))


def test_unknown_rates_are_absent() -> None:
    account = burn_fixture.usual()[0]
    unknown = np.full(len(account.t_s), np.nan)
    burn = burn_of(replace(account, burning_rate_g_min=unknown, fuel_g=unknown))
    for rate in (peak_rate, peak_rate_five_point, rate_10_90):
        with pytest.raises(AbsentError):
            rate(burn)


class Fading(SyntheticBurn):
    """A burn whose rate falls in a straight line from lit to flameout."""

    def rate_g_s(self) -> NDArray[np.float64]:
        middle = np.arange(burn_fixture.SECONDS) + 0.5
        rate = np.clip((960.0 - middle) / 900.0, 0.0, None) * (middle > 60.0)
        return np.where(middle > 960.0, 0.01, rate * self.lost_g / rate.sum())


def test_an_unsure_flameout_makes_the_10_90_rate_less_sure_too() -> None:
    plan = burn_fixture.plan()
    unsure = tuple(
        replace(event, u_s=60.0) if event.kind is EventKind.FLAMEOUT else event for event in burn_fixture.events()
    )
    burn = Burn(Fading(burn_fixture.fuel_in(plan)).account(), unsure, plan, BOILING_POINT)
    rate = Result(rate_10_90(burn), "g/min")
    # By hand: 0.8 M over (sqrt 0.9 - sqrt 0.1) T. A minute earlier, the loss is 0.9956 M, and the rate 0.5 % more; a
    # minute later, with 0.6 g of char more, 0.3 % less.
    assert rate.value.nominal_value == pytest.approx(0.8 * 260.0 / (0.63246 * 15.0), rel=0.01)
    share = abs(rate.budget["flameout"]) / rate.value.nominal_value
    assert 0.003 < share < 0.006
