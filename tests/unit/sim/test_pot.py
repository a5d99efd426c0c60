from dataclasses import replace

import pytest

from emberline_sim.air import latent_heat_j_g
from emberline_sim.pot import HEAT_CAPACITY_J_GK, Pot
from emberline_sim.trial_specs import PotSpec, VisitSpec

SEA_PA = 101325.0
SPEC = PotSpec(lid=False, loss_w_k=0.5)
VISIT = VisitSpec(0.0, water_g=500.0, water_c=20.0)


def heat(pot: Pot, seconds: float, power_w: float, ambient_c: float = 20.0, wind_m_s: float = 0.0) -> None:
    for _ in range(round(seconds / 0.5)):
        pot.step(0.5, power_w, ambient_c, wind_m_s)


def test_the_account_of_heat_closes() -> None:
    pot = Pot(SPEC, VISIT, SEA_PA, 0.5)
    heat(pot, 300.0, 700.0)
    heat(pot, 400.0, 900.0)
    heat(pot, 500.0, 0.0)
    stored_j = pot.metal_j + pot.sensible_j + pot.latent_j + pot.lost_j
    assert pot.taken_j == pytest.approx(300.0 * 700.0 + 400.0 * 900.0)
    assert stored_j == pytest.approx(pot.taken_j, rel=1e-9)
    assert pot.water_g + pot.evaporated_g == pytest.approx(500.0)


def test_sensible_heat_is_that_of_the_water_that_warmed() -> None:
    pot = Pot(replace(SPEC, air_w_m2k=0.0, loss_w_k=0.0), VISIT, SEA_PA, 0.5)
    heat(pot, 200.0, 600.0)
    heat(pot, 120.0, 0.0)
    assert pot.sensible_j == pytest.approx(HEAT_CAPACITY_J_GK * 500.0 * (pot.bulk_c - 20.0), rel=1e-6)
    rise_k = 200.0 * 600.0 / (HEAT_CAPACITY_J_GK * 500.0 + SPEC.heat_capacity_j_k)
    assert pot.bulk_c - 20.0 == pytest.approx(rise_k, rel=1e-3)


@pytest.mark.parametrize(("pressure_pa", "boiling_c"), [(SEA_PA, 99.97), (79500.0, 93.32), (70110.0, 89.97)])
def test_it_boils_at_the_local_boiling_point_and_no_higher(pressure_pa: float, boiling_c: float) -> None:
    pot = Pot(SPEC, VISIT, pressure_pa, 0.5)
    heat(pot, 900.0, 800.0)
    assert pot.boiling
    assert pot.bulk_c == pytest.approx(boiling_c, abs=0.05)


def test_a_boiling_pot_turns_its_net_heat_into_steam() -> None:
    pot = Pot(replace(SPEC, loss_w_k=0.0), VISIT, SEA_PA, 0.5)
    heat(pot, 600.0, 1000.0)
    before_g = pot.water_g
    heat(pot, 60.0, 1000.0)
    assert before_g - pot.water_g == pytest.approx(60.0 * 1000.0 / latent_heat_j_g(99.97), rel=0.01)


def test_a_weak_fire_stalls_below_boiling() -> None:
    pot = Pot(replace(SPEC, air_w_m2k=7.0, diameter_m=0.18), VISIT, SEA_PA, 0.5)
    heat(pot, 2400.0, 240.0)
    stalled_c = pot.bulk_c
    heat(pot, 300.0, 240.0)
    assert not pot.boiling
    assert stalled_c < 95.0
    assert pot.bulk_c == pytest.approx(stalled_c, abs=1.0)


def test_a_lid_keeps_the_steam_in_until_it_boils() -> None:
    open_pot, lidded = Pot(SPEC, VISIT, SEA_PA, 0.5), Pot(replace(SPEC, lid=True), VISIT, SEA_PA, 0.5)
    for pot in (open_pot, lidded):
        heat(pot, 240.0, 600.0)
    assert lidded.evaporated_g < 0.15 * open_pot.evaporated_g
    assert lidded.bulk_c > open_pot.bulk_c


def test_lower_water_is_warmer_while_heated_and_they_meet_afterwards() -> None:
    pot = Pot(SPEC, VISIT, SEA_PA, 0.5)
    heat(pot, 120.0, 700.0)
    assert 0.5 < pot.lower_c - pot.upper_c < 8.0
    assert pot.metal_c > pot.lower_c + 2.0
    heat(pot, 120.0, 0.0)
    assert pot.lower_c - pot.upper_c < 0.5


def test_intake_falls_with_wind_and_with_a_hot_pot() -> None:
    cold, hot = Pot(SPEC, VISIT, SEA_PA, 0.5), Pot(SPEC, replace(VISIT, water_c=95.0), SEA_PA, 0.5)
    still = cold.intake_w(1500.0, 0.0, 20.0, 20.0, 0.0)
    assert still == pytest.approx(SPEC.coupling * 1500.0)
    assert hot.intake_w(1500.0, 0.0, 20.0, 20.0, 0.0) < still
    assert cold.intake_w(1500.0, 0.0, 20.0, 20.0, 3.0) < 0.8 * still
    assert cold.intake_w(0.0, 0.0, 220.0, 20.0, 0.0) > 0.0


def test_a_pot_boiled_dry_stops() -> None:
    pot = Pot(SPEC, replace(VISIT, water_g=30.0), SEA_PA, 0.5)
    heat(pot, 900.0, 800.0)
    assert 0.0 <= pot.water_g < 1.0
