from dataclasses import replace

import pytest

from emberline_sim.particles.vessel import Filling, Vessel

POT = Vessel(350.0, 180.0, 0.15, 80.0, 0.6, 0.1, 0.4, 5.0, 0.8)
SEA_PA, DAMP_PA = 101325.0, 1170.0


def fill(water_g: float = 700.0, water_c: float = 20.0, vessel: Vessel = POT, pressure_pa: float = SEA_PA) -> Filling:
    return Filling(vessel, water_g, water_c, pressure_pa, DAMP_PA)


def heat(pot: Filling, power_w: float, for_s: float, wind: float = 0.0) -> float | None:
    """Heat for a while; return when half of the heat first left as steam."""
    at_s = None
    for i in range(round(for_s / 0.5)):
        pot.step(0.5, power_w, 20.0, wind)
        if at_s is None and pot.steam_share >= 0.5:
            at_s = 0.5 * i
    return at_s


def test_the_account_of_heat_closes() -> None:
    pot = fill()
    heat(pot, 1300.0, 700.0)
    heat(pot, 0.0, 300.0)
    account_j = pot.metal_j + pot.sensible_j + pot.latent_j + pot.lost_j
    assert account_j == pytest.approx(pot.taken_j, rel=2e-3)


def test_sensible_heat_is_that_of_the_water() -> None:
    pot = fill()
    heat(pot, 900.0, 240.0)
    assert pot.sensible_j == pytest.approx(700.0 * 4.186 * (pot.bulk_c - 20.0), rel=0.01)


def test_it_boils_when_the_energy_says_so() -> None:
    """700 g from 20 to 100 °C take 234 kJ, the pot 14 kJ: at 1.3 kW 191 s and some for evaporation and leaks."""
    at_s = heat(fill(), 1300.0, 400.0)
    assert at_s == pytest.approx(205.0, abs=20.0)


def test_the_plateau_is_the_local_boiling_point() -> None:
    """IAPWS-IF97 at 79.5 kPa: 93.32 °C."""
    for pressure_pa, boiling_c in ((SEA_PA, 99.97), (79500.0, 93.32)):
        pot = fill(pressure_pa=pressure_pa)
        heat(pot, 1300.0, 500.0)
        assert pot.boiling_c == pytest.approx(boiling_c, abs=0.02)
        assert pot.bulk_c == pytest.approx(boiling_c, abs=0.5)


def test_a_kilowatt_boils_off_what_the_latent_heat_says() -> None:
    """1 kW over 2257 J/g is 26.6 g/min; leaks and the air take some of it."""
    pot = fill()
    heat(pot, 1000.0, 500.0)
    before_g = pot.water_g
    heat(pot, 1000.0, 300.0)
    assert (before_g - pot.water_g) / 5.0 == pytest.approx(25.5, abs=1.2)


def test_evaporation_of_an_open_pot_below_boiling() -> None:
    """Mass-transfer estimate for an open pot of 15 cm in still air: 4 to 8 g/min at 90 °C, 2.2 to 4.5 at 80 °C."""
    for water_c, low, high in ((90.0, 4.0, 8.0), (80.0, 2.2, 4.5)):
        pot = fill(water_c=water_c, vessel=replace(POT, leak_w_k=0.0, air_w_m2k=7.0))
        heat(pot, 0.0, 20.0)
        assert low < pot.evaporated_g * 3.0 < high


def test_a_lid_keeps_most_of_it() -> None:
    bare, lidded = fill(water_c=85.0), fill(water_c=85.0)
    lidded.lid = True
    heat(bare, 300.0, 120.0)
    heat(lidded, 300.0, 120.0)
    assert lidded.evaporated_g < 0.15 * bare.evaporated_g


def test_a_weak_fire_leaves_it_below_boiling() -> None:
    pot = fill(vessel=replace(POT, leak_w_k=1.5))
    assert heat(pot, 220.0, 7000.0) is None
    assert 60.0 < pot.bulk_c < 97.0


def test_bubbles_that_live_longer_round_the_knee() -> None:
    def bend_k(bubble_k: float) -> float:
        pot = fill(vessel=replace(POT, bubble_k=bubble_k))
        while pot.steam_share < 0.5:
            pot.step(0.5, 1200.0, 20.0, 0.0)
        return pot.boiling_c - pot.bulk_c

    assert bend_k(1.4) > bend_k(0.3)


def test_warm_water_rises_and_the_layers_stay_close() -> None:
    pot = fill()
    heat(pot, 1200.0, 100.0)
    assert 0.1 < pot.layers_c[0] - pot.layers_c[-1] < 8.0


def test_heat_comes_by_gas_and_by_radiation() -> None:
    pot = fill()
    gas_only = pot.intake_w(900.0, 2.0, 293.0, 7.85e-3, 0.0, 0.0)
    glow_only = pot.intake_w(20.0, 2.0, 1000.0, 7.85e-3, 0.0, 0.0)
    assert 600.0 < gas_only < 1200.0
    assert 20.0 < glow_only < 100.0
    assert pot.intake_w(900.0, 2.0, 293.0, 7.85e-3, 0.0, 2.0) < gas_only


def test_an_empty_pot_rests() -> None:
    pot = fill(water_g=10.0)
    pot.step(0.5, 1000.0, 20.0, 0.0)
    assert pot.taken_j == 0.0
