"""The water of a pot without a probe, against a pot whose heat balance is followed second by second."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.heat.evaporation import vapour_drive
from emberline.heat.steam_model import Unsure
from emberline.heat.unread_course import UnreadPot

Array = NDArray[np.float64]
N, ON_S, OUT_S, OFF_S = 1600, 100, 1100, 1400
PRESSURE_PA, LATENT_J_G, BOILING_C, AIR_C = 101_325.0, 2_257.0, 99.97, 20.0
"""Boiling water at sea level (IAPWS-IF97)."""
T_S = np.arange(N)
FUEL_G_S = np.where(T_S < OUT_S, 0.16, 0.02)
INSIDE = (T_S >= ON_S) & (T_S < OFF_S)


def burn(water_g: float, share: float = 1.4, below_g_s: float = 0.06) -> tuple[Array, UnreadPot]:
    """Return the water that leaves each second, and the pot as it is seen."""
    capacity_j_k, now_c = 4.186 * water_g + 250.0, AIR_C
    water = np.zeros(N)
    for i in np.flatnonzero(INSIDE):
        gift = share * (1.0 if i < OUT_S else 1.3)
        steam = below_g_s * float(vapour_drive(np.array([now_c]), PRESSURE_PA)[0])
        heat_w = LATENT_J_G * (gift * FUEL_G_S[i] - steam) - 0.7 * (now_c - AIR_C)
        now_c += heat_w / capacity_j_k
        water[i] = steam + max(now_c - BOILING_C, 0.0) * capacity_j_k / LATENT_J_G
        now_c = min(now_c, BOILING_C)
    pot = UnreadPot(
        FUEL_G_S + water,
        INSIDE,
        T_S >= OUT_S,
        np.ones(N),
        capacity_j_k,
        AIR_C,
        BOILING_C,
        AIR_C,
        PRESSURE_PA,
        0.06,
        0.03,
    )
    return water, pot


def sum_of(rate: Array, unsure: Unsure, until_s: int) -> UFloat:
    shifts, variables = unsure()
    total = float(rate[:until_s].sum()) + 0.0 * variables[0]
    for shift, variable in zip(shifts, variables, strict=True):
        total += float(shift[:until_s].sum()) * variable
    return total


@pytest.mark.parametrize("water_g", [400.0, 900.0, 2_500.0])
@pytest.mark.parametrize("share", [0.9, 1.4, 2.2])
def test_a_weighed_total_tells_when_it_left(water_g: float, share: float) -> None:
    water, pot = burn(water_g, share)
    rate, unsure = pot.closing(ufloat(float(water.sum()), 0.5, "weighed"), float(OFF_S))
    assert float(rate.sum()) == pytest.approx(float(water.sum()))
    assert (rate[~INSIDE] == 0.0).all()
    for until_s in (600, OUT_S):
        found = sum_of(rate, unsure, until_s)
        assert abs(found.nominal_value - float(water[:until_s].sum())) < 1.5 * max(found.std_dev, 0.5)
    # An even share of the load's loss would be far from that, at the boil or at the flame's end.
    even = float(water.sum()) * np.cumsum(pot.loss_g_s * INSIDE) / float((pot.loss_g_s * INSIDE).sum())
    errors = [[abs(one[at] - water[: at + 1].sum()) for at in (600, OUT_S)] for one in (np.cumsum(rate), even)]
    assert max(errors[0]) < 0.5 * max(errors[1])


def test_where_nothing_was_weighed_the_usual_share_holds_the_truth() -> None:
    for share in (1.0, 1.6, 2.4):
        water, pot = burn(900.0, share)
        total = sum_of(*pot.standing(), N)
        assert abs(total.nominal_value - float(water.sum())) < 2.0 * total.std_dev


def test_a_weighing_is_no_better_than_its_scale() -> None:
    water, pot = burn(900.0)
    total = sum_of(*pot.closing(ufloat(float(water.sum()), 2.0, "weighed"), float(OFF_S)), OFF_S)
    assert total.std_dev == pytest.approx(2.0, rel=1e-3)


def test_a_lid_keeps_the_steam_in_until_it_boils() -> None:
    _, pot = burn(900.0)
    lidded = replace(pot, lid_passes=np.full(N, 0.15))
    open_g, lid_g = (float(one.standing()[0][:500].sum()) for one in (pot, lidded))
    assert lid_g < 0.5 * open_g


def test_without_a_loss_to_go_by_it_leaves_evenly() -> None:
    _, pot = burn(900.0)
    dead = replace(pot, loss_g_s=np.zeros(N))
    rate, _ = dead.closing(ufloat(13.0, 0.5, "weighed"), float(OFF_S))
    np.testing.assert_allclose(rate[INSIDE], 13.0 / INSIDE.sum())
    nothing, _ = pot.closing(ufloat(-2.0, 0.5, "weighed"), float(OFF_S))
    assert not nothing.any()
