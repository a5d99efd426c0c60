"""The steam of a pot's own heat, against a pot that cools by a law that is known."""

import numpy as np
import pytest

from emberline.heat.cooling import AROUND_S, steam_of_cooling_g_s

N = 900
T_S = np.arange(N) + 0.5
COOLS_C = 20.0 + 78.0 * np.exp(-T_S / 2_000.0)
CAPACITY_J_K = np.full(N, 4.186 * 1_000.0 + 300.0)
ALL = np.ones(N, dtype=bool)


def test_what_a_pot_gives_off_as_it_cools_is_its_heat_over_the_latent_heat() -> None:
    steam = steam_of_cooling_g_s(COOLS_C, (ALL,), CAPACITY_J_K)
    # Latent heat at the mean temperature of the stretch: saturated-steam tables (IAPWS-IF97), 2317 J/g at 77 °C.
    given_off_j = CAPACITY_J_K[0] * (COOLS_C[0] - COOLS_C[-1])
    assert float(np.mean(COOLS_C)) == pytest.approx(83.3, abs=0.5)
    assert float(steam.sum()) == pytest.approx(given_off_j / 2_301.0, rel=0.01)


def test_codes_of_a_cheap_converter_make_no_steam() -> None:
    coded = np.round(COOLS_C / 0.25) * 0.25
    smooth, rough = (steam_of_cooling_g_s(one, (ALL,), CAPACITY_J_K) for one in (COOLS_C, coded))
    assert float(np.abs(smooth - rough)[AROUND_S:-AROUND_S].max()) < 0.25 * float(smooth.max())
    assert float(rough.sum()) == pytest.approx(float(smooth.sum()), rel=0.02)


def test_no_slope_is_taken_across_the_boil() -> None:
    ramp = np.minimum(20.0 + 0.16 * T_S, 98.0)
    boils = ramp >= 98.0
    steam = steam_of_cooling_g_s(ramp, (~boils, boils), CAPACITY_J_K)
    assert np.abs(steam[boils]).max() < 1e-9
    assert (steam[~boils] < -0.2).all()


def test_where_nobody_knows_how_warm_it_is_nothing_is_given_off() -> None:
    unread = np.where(T_S < 450.0, np.nan, COOLS_C)
    steam = steam_of_cooling_g_s(unread, (ALL,), CAPACITY_J_K)
    assert (steam[T_S < 450.0 - AROUND_S] == 0.0).all()
    assert (steam[500:] > 0.0).all()
