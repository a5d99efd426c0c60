"""Loss of water from a pot against estimates and balances worked out otherwise."""

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import ufloat

from emberline.heat.evaporation import (
    LID_FACTOR,
    OPEN_POT_G_S,
    OPEN_POT_REL_U,
    SHARE_WITHOUT_RAMP,
    WATER_IN_15_CM_G,
    steam_share,
    sub_boiling_coefficient,
    vapour_drive,
)

Array = NDArray[np.float64]
POTS = (ufloat(150.0, 5.0), None)

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


def ramp(watts: float, fuel_g_s: float, water_g: float, pot_j_k: float, n: int = 900) -> tuple[Array, Array]:
    """Water on an even fire, heat capacity 4.19 J/(g K), no loss of water."""
    slope = watts / (4.19 * water_g + pot_j_k)
    return np.minimum(18.0 + slope * (np.arange(n) + 0.5), 99.0), np.full(n, fuel_g_s)


@pytest.mark.parametrize("watts", [250.0, 420.0])
@pytest.mark.parametrize("fuel_g_s", [0.1, 0.2])
def test_a_ramp_tells_how_much_steam_a_gram_of_fuel_will_raise(watts: float, fuel_g_s: float) -> None:
    water_c, loss = ramp(watts, fuel_g_s, 500.0, 150.0)
    end = int(np.argmax(water_c >= 99.0))
    learnt = steam_share(water_c, loss, (0, end), ufloat(500.0, 1.0), ufloat(150.0, 10.0), np.zeros(900))
    # Latent heat at some 85 °C: 2295 J/g (IAPWS-IF97).
    assert learnt.value == pytest.approx(watts / 2295.0 / fuel_g_s, rel=0.02)
    assert 0.1 < learnt.u / learnt.value < 0.25


def test_steam_on_the_ramp_counts_as_heat_and_not_as_fuel() -> None:
    water_c, fuel = ramp(300.0, 0.15, 500.0, 150.0)
    own = np.full(900, 0.04)
    end = int(np.argmax(water_c >= 99.0))
    with_steam = steam_share(water_c, fuel + own, (0, end), ufloat(500.0, 1.0), ufloat(150.0, 10.0), own)
    assert with_steam.value == pytest.approx((300.0 / 2295.0 + 0.04) / 0.15, rel=0.02)


def test_an_unknown_pot_leaves_more_doubt() -> None:
    water_c, loss = ramp(300.0, 0.15, 500.0, 150.0)
    end = int(np.argmax(water_c >= 99.0))
    shares = [steam_share(water_c, loss, (0, end), ufloat(500.0, 1.0), pot, np.zeros(900)) for pot in POTS]
    known, unknown = shares
    assert unknown.u / unknown.value > known.u / known.value
    assert abs(unknown.value - known.value) < unknown.u


@pytest.mark.parametrize("spoil", ["no water weighed", "no temperature", "no ramp", "no fuel", "too short"])
def test_without_a_ramp_a_usual_share_is_taken_and_said(spoil: str) -> None:
    water_c, loss = ramp(300.0, 0.15, 500.0, 150.0)
    water_g, window = ufloat(500.0, 1.0), (0, 400)
    match spoil:
        case "no water weighed":
            water_g = None
        case "no temperature":
            water_c = np.full(900, np.nan)
        case "no ramp":
            water_c = np.full(900, 60.0)
        case "no fuel":
            loss = np.zeros(900)
        case "too short":
            window = (0, 20)
    share = steam_share(water_c, loss, window, water_g, ufloat(150.0, 10.0), np.zeros(900))
    assert share.value == SHARE_WITHOUT_RAMP
    assert share.u / share.value > 0.3
    assert "usual share" in share.words
