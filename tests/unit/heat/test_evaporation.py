"""Loss of water from a pot against estimates and balances worked out otherwise."""

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.heat.evaporation import (
    LID_FACTOR,
    OPEN_POT_G_S,
    OPEN_POT_REL_U,
    SHARE_WITHOUT_RAMP,
    SHARE_WITHOUT_RAMP_REL_U,
    WATER_IN_15_CM_G,
    PotHeat,
    expected_heat,
    heat_from_ramp,
    sub_boiling_coefficient,
    vapour_drive,
)

Array = NDArray[np.float64]
WATER_G, POT_J_K = ufloat(500.0, 1.0), ufloat(150.0, 5.0)

SEA_LEVEL_PA = 101_325.0
SATURATION_KPA = {40.0: 7.38, 60.0: 19.95, 80.0: 47.41, 90.0: 70.18, 95.0: 84.61}
"""Saturation pressure of water (IAPWS-IF97)."""


def mass_transfer_g_min(water_c: float, h_w_m2k: float) -> float:
    """Estimate the loss of an open pot of 15 cm in air of 20 °C and 50 % humidity.

    Analogy of heat and mass transfer with a Lewis number of 0.85, and Stefan's law for one-sided diffusion (textbooks
    of heat transfer, from memory); natural convection over such a pot has 5 to 10 W/(m² K).
    """
    film_k = 273.15 + 0.5 * (water_c + 20.0)
    air_kg_m3, air_j_kgk = 101_325.0 / (287.0 * film_k), 1_007.0
    transfer_m_s = h_w_m2k / (air_kg_m3 * air_j_kgk) / 0.85 ** (2.0 / 3.0)
    drive = np.log((101.325 - 1.17) / (101.325 - SATURATION_KPA[water_c]))
    area_m2 = np.pi * 0.075**2
    return float(transfer_m_s * 101_325.0 / (461.5 * film_k) * drive * area_m2 * 60e3)


@pytest.mark.parametrize("water_c", [60.0, 80.0, 90.0])
def test_an_open_pot_loses_what_mass_transfer_allows(water_c: float) -> None:
    rate_g_min = 60.0 * OPEN_POT_G_S * vapour_drive(np.array([water_c]), SEA_LEVEL_PA)[0]
    low, high = (mass_transfer_g_min(water_c, h) for h in (5.0, 10.0))
    assert low < rate_g_min < high
    # Its stated uncertainty spans that range, more or less.
    assert 0.5 * (high - low) < 1.2 * rate_g_min * OPEN_POT_REL_U


@pytest.mark.parametrize(("water_c", "low", "high"), [(60.0, 0.8, 1.6), (80.0, 2.2, 4.5), (90.0, 4.0, 8.0)])
def test_the_estimate_gives_the_figures_in_its_docstring(water_c: float, low: float, high: float) -> None:
    rate_g_min = 60.0 * OPEN_POT_G_S * vapour_drive(np.array([water_c]), SEA_LEVEL_PA)[0]
    assert low < rate_g_min < high


def test_the_drive_is_that_of_the_saturation_pressure() -> None:
    for water_c, kpa in SATURATION_KPA.items():
        expected = np.log((SEA_LEVEL_PA - 1_200.0) / (SEA_LEVEL_PA - 1e3 * kpa))
        assert vapour_drive(np.array([water_c]), SEA_LEVEL_PA)[0] == pytest.approx(expected, rel=2e-3)


def test_the_drive_stays_finite_where_heat_and_not_diffusion_limits() -> None:
    hot = vapour_drive(np.array([98.0, 99.0, 99.97, 101.0, 115.0]), SEA_LEVEL_PA)
    assert np.isfinite(hot).all()
    # Held at 1 K below boiling: 0.965 of the pressure (IAPWS-IF97: 97.8 kPa at 99 °C).
    assert hot[1:] == pytest.approx(np.log(1.0 - 1_200.0 / SEA_LEVEL_PA) - np.log(0.035), rel=0.01)


def test_cold_water_hardly_evaporates_and_never_gains() -> None:
    assert vapour_drive(np.array([2.0, 5.0]), SEA_LEVEL_PA) == pytest.approx([0.0, 0.0], abs=1e-3)
    assert vapour_drive(np.array([np.nan]), SEA_LEVEL_PA) == pytest.approx([0.0])


def test_water_evaporates_faster_in_thin_air() -> None:
    at_sea, high_up = (vapour_drive(np.array([80.0]), pa)[0] for pa in (SEA_LEVEL_PA, 70_110.0))
    assert high_up > 1.7 * at_sea


def test_a_lid_keeps_most_of_it_and_leaves_more_doubt() -> None:
    (open_pot, u_open), (lid, u_lid) = (sub_boiling_coefficient(closed, None) for closed in (False, True))
    assert lid == pytest.approx(LID_FACTOR * open_pot)
    assert u_lid / lid > u_open / open_pot


def test_a_small_pot_has_a_small_surface() -> None:
    half, _ = sub_boiling_coefficient(False, ufloat(WATER_IN_15_CM_G / 8.0, 1.0))
    usual, u_usual = sub_boiling_coefficient(False, ufloat(WATER_IN_15_CM_G, 1.0))
    # Half as wide and half as deep: an eighth of the water, a quarter of the surface.
    assert half == pytest.approx(usual / 4.0)
    assert (usual, u_usual) == pytest.approx((OPEN_POT_G_S, OPEN_POT_G_S * OPEN_POT_REL_U))
    assert sub_boiling_coefficient(False, ufloat(1e6, 1.0))[0] < 5.0 * usual


LATENT_J_G = 2_300.0
"""Heat of evaporation at some 80 °C (IAPWS-IF97: 2308 J/g)."""


def ramp(
    *,
    share: float,
    below_g_s: float = 0.03,
    wall_w_k: float = 0.4,
    water_g: float = 500.0,
    n: int = 1500,
    grows_until_s: float = 0.0,
) -> tuple[Array, Array, Array, int]:
    """Integrate the heat balance of a pot second by second on an even fire of 0.15 g/s.

    The share may grow by 0.2 to what it is, until a moment.

    Returns:
        Temperature, loss of all that stands on the cell, drive of the vapour-pressure law, and when 99 °C are reached.
    """
    water_c, loss = np.empty(n), np.empty(n)
    now = 18.0
    for i in range(n):
        steam = below_g_s * float(vapour_drive(np.array([now]), SEA_LEVEL_PA)[0])
        grown = 1.0 - 0.2 * max(1.0 - i / grows_until_s, 0.0) if grows_until_s > 0.0 else 1.0
        heat_w = (share * grown * 0.15 - steam) * LATENT_J_G - wall_w_k * (now - 20.0)
        now = min(now + heat_w / (4.19 * water_g + 150.0), 99.0)
        water_c[i], loss[i] = now, 0.15 + steam
    top = int(np.argmax(water_c >= 98.9)) or n
    return water_c, loss, vapour_drive(water_c, SEA_LEVEL_PA), top


def learnt(
    water_c: Array,
    loss: Array,
    drive: Array,
    top: int,
    *,
    water_g: UFloat | None = WATER_G,
    pot_j_k: UFloat | None = POT_J_K,
) -> PotHeat:
    expected = expected_heat(False, water_g)
    return heat_from_ramp(expected, water_c, loss, drive, (0, top), water_g, pot_j_k, 20.0)


@pytest.mark.parametrize("share", [0.8, 1.6, 2.4])
@pytest.mark.parametrize("below_g_s", [0.02, 0.05])
@pytest.mark.parametrize("wall_w_k", [0.0, 0.8])
def test_a_ramp_tells_how_much_steam_a_gram_of_fuel_will_raise(share: float, below_g_s: float, wall_w_k: float) -> None:
    heat = learnt(*ramp(share=share, below_g_s=below_g_s, wall_w_k=wall_w_k))
    u_below, u_share, u_wall = np.sqrt(np.diag(heat.covariance))
    assert abs(heat.share - share) < 2.0 * u_share
    assert abs(heat.below_g_s - below_g_s) < 2.5 * u_below
    assert abs(heat.wall_w_k - wall_w_k) < 2.0 * u_wall
    # What matters is the steam to come once it boils: the fuel's heat less the wall's loss.
    weights = np.array([0.0, 0.15, -79.0 / LATENT_J_G])
    steam = weights @ [heat.below_g_s, heat.share, heat.wall_w_k]
    u_steam = (weights @ heat.covariance @ weights) ** 0.5
    assert abs(steam - weights @ [below_g_s, share, wall_w_k]) < 1.5 * u_steam
    assert u_steam < 0.3 * steam


def test_a_share_that_grows_as_the_stove_warms_up_is_no_surprise() -> None:
    growing = ramp(share=1.6, grows_until_s=390.0)
    assert growing[-1] == pytest.approx(390, abs=15)
    heat = learnt(*growing)
    errors = np.array([heat.below_g_s - 0.03, heat.share - 1.6, heat.wall_w_k - 0.4])
    assert (np.abs(errors) < 1.5 * np.sqrt(np.diag(heat.covariance))).all()


def test_a_ramp_tells_more_than_what_was_expected() -> None:
    before, after = expected_heat(False, WATER_G), learnt(*ramp(share=1.2))
    assert after.covariance[1, 1] ** 0.5 / after.share < 0.5 * before.covariance[1, 1] ** 0.5 / before.share
    assert "ramp from" in after.words


def test_heat_has_a_covariance_that_can_be_drawn_from() -> None:
    for heat in (expected_heat(True, None), learnt(*ramp(share=1.2)), learnt(*ramp(share=2.0), pot_j_k=None)):
        assert heat.covariance.shape == (3, 3)
        np.testing.assert_allclose(heat.covariance, heat.covariance.T, rtol=1e-6, atol=1e-15)
        assert (np.linalg.eigvalsh(heat.covariance) > -1e-12).all()


def test_an_unknown_pot_leaves_more_doubt() -> None:
    known, unknown = learnt(*ramp(share=1.5)), learnt(*ramp(share=1.5), pot_j_k=None)
    assert unknown.covariance[1, 1] ** 0.5 / unknown.share > known.covariance[1, 1] ** 0.5 / known.share
    assert abs(unknown.share - known.share) < unknown.covariance[1, 1] ** 0.5


def test_a_pot_that_stalls_tells_what_its_wall_loses() -> None:
    # Its ceiling is where heat in is heat out: 0.21 g/s of steam's worth against wall and evaporation.
    water_c, loss, drive, _ = ramp(share=0.5, below_g_s=0.05, wall_w_k=0.8, n=2500)
    assert water_c[-1] < 95.0
    heat = learnt(water_c, loss, drive, 2500)
    assert abs(heat.share - 0.5) < 2.0 * heat.covariance[1, 1] ** 0.5


@pytest.mark.parametrize("spoil", ["no water weighed", "no temperature", "no ramp", "too short"])
def test_without_a_ramp_what_is_usual_is_taken_and_said(spoil: str) -> None:
    water_c, loss, drive, top = ramp(share=1.5)
    water_g: UFloat | None = WATER_G
    match spoil:
        case "no water weighed":
            water_g = None
        case "no temperature":
            water_c = np.full(len(water_c), np.nan)
        case "no ramp":
            water_c = np.full(len(water_c), 60.0)
        case "too short":
            top = 25
    heat = learnt(water_c, loss, drive, top, water_g=water_g)
    assert heat.share == pytest.approx(SHARE_WITHOUT_RAMP)
    assert heat.covariance[1, 1] ** 0.5 == pytest.approx(SHARE_WITHOUT_RAMP * SHARE_WITHOUT_RAMP_REL_U)
    assert "usual share" in heat.words


def test_a_lid_is_expected_to_keep_the_steam_in() -> None:
    bare, lid = expected_heat(False, WATER_G), expected_heat(True, WATER_G)
    assert lid.below_g_s == pytest.approx(LID_FACTOR * bare.below_g_s)
    assert lid.share == bare.share
