"""Quantities of ISO 19867-1:2018 on worked examples.

The equations are from memory of the standard; the examples are our own, worked by hand from them, none is published.
"""

import pytest

from emberline.bench.fuels import lhv_as_fired
from emberline.bench.water import HEAT_CAPACITY_ISO_J_GK, LATENT_HEAT_ISO_J_G
from emberline.heat.combustion import Charge, efficiency, net_energy_j
from emberline.heat.water import heat_into_water_j

LHV_DRY_J_G, CHAR_LHV_J_G = 18_692.3, 29_500.0


def useful_j(start_g: float, left_g: float, start_c: float, end_c: float) -> float:
    return float(
        heat_into_water_j(
            start_g,
            start_c,
            end_c,
            start_g - left_g,
            heat_capacity_j_gk=HEAT_CAPACITY_ISO_J_GK,
            latent_heat_j_g=LATENT_HEAT_ISO_J_G,
        )
    )


def test_top_lit_batch() -> None:
    heat_j = useful_j(2500.0, 2050.0, 20.0, 99.6)
    fuel_j = Charge(400.0, 0.08).energy_j(LHV_DRY_J_G)
    char_j = 68.0 * CHAR_LHV_J_G
    assert lhv_as_fired(LHV_DRY_J_G, 0.08) == pytest.approx(17_001.5, abs=0.05)
    assert heat_j / 1000 == pytest.approx(1848.82, abs=0.005)
    assert fuel_j / 1000 == pytest.approx(6800.6, abs=0.05)
    assert char_j / 1000 == pytest.approx(2006.0, abs=0.05)
    assert efficiency(heat_j, fuel_j) == pytest.approx(0.2719, abs=5e-5)
    assert efficiency(heat_j, net_energy_j(fuel_j, char_j)) == pytest.approx(0.3856, abs=5e-5)
    assert heat_j / 1800.0 == pytest.approx(1027.0, abs=0.5)
    assert fuel_j / 1800.0 == pytest.approx(3778.0, abs=0.5)
    assert net_energy_j(fuel_j, char_j) / 1800.0 == pytest.approx(2664.0, abs=0.5)
    assert char_j / fuel_j == pytest.approx(0.295, abs=5e-4)


def test_small_stove_with_one_litre() -> None:
    heat_j = useful_j(1000.0, 940.0, 18.0, 98.0)
    fuel_j = Charge(150.0, 0.08).energy_j(LHV_DRY_J_G)
    char_j = 24.0 * CHAR_LHV_J_G
    assert heat_j / 1000 == pytest.approx(470.0, abs=0.05)
    assert fuel_j / 1000 == pytest.approx(2550.2, abs=0.05)
    assert char_j / 1000 == pytest.approx(708.0, abs=0.05)
    assert efficiency(heat_j, fuel_j) == pytest.approx(0.1843, abs=5e-5)
    assert efficiency(heat_j, net_energy_j(fuel_j, char_j)) == pytest.approx(0.2551, abs=5e-5)
    assert heat_j / 840.0 == pytest.approx(560.0, abs=0.5)
    assert fuel_j / 840.0 == pytest.approx(3036.0, abs=0.5)
    assert char_j / fuel_j == pytest.approx(0.278, abs=5e-4)


def test_without_char_both_efficiencies_are_one() -> None:
    fuel_j = Charge(400.0, 0.08).energy_j(LHV_DRY_J_G)
    assert efficiency(1e6, net_energy_j(fuel_j, 0.0)) == efficiency(1e6, fuel_j)
