"""Properties of water against IAPWS-IF97 and, independently, the IAPWS equations of the saturation line."""

import math

import pytest

from emberline.bench import water
from emberline.bench.air import saturation_pressure_pa

# IAPWS-IF97 at saturation: degC, heat capacity J/(g K), heat of evaporation J/g, pressure kPa.
IF97 = [
    (20.0, 4.185, 2453.5, 2.34),
    (40.0, 4.179, 2406.0, 7.38),
    (60.0, 4.183, 2357.7, 19.9),
    (80.0, 4.196, 2308.1, 47.4),
    (90.0, 4.205, 2282.6, 70.2),
    (95.0, 4.211, 2269.6, 84.6),
    (100.0, 4.217, 2256.5, 101.4),
]


@pytest.mark.parametrize(("t_c", "cp", "latent", "pressure_kpa"), IF97)
def test_properties_agree_with_if97(t_c: float, cp: float, latent: float, pressure_kpa: float) -> None:
    assert water.heat_capacity_j_gk(t_c) == pytest.approx(cp, abs=0.0017)
    assert water.latent_heat_j_g(t_c) == pytest.approx(latent, abs=0.09)
    assert saturation_pressure_pa(t_c) / 1000.0 == pytest.approx(
        pressure_kpa, abs=0.051 if pressure_kpa > 10 else 0.0051
    )


def clapeyron_latent_heat_j_g(t_c: float) -> float:
    """h_fg = T (v'' - v') dp/dT with IAPWS SR1-86(1992), equations 1, 2 and 3 (coefficients from memory)."""
    t_k = t_c + 273.15
    critical_k, critical_pa, critical_kg_m3 = 647.096, 22.064e6, 322.0
    tau = 1.0 - t_k / critical_k
    a = (
        (1.0, -7.85951783),
        (1.5, 1.84408259),
        (3.0, -11.7866497),
        (3.5, 22.6807411),
        (4.0, -15.9618719),
        (7.5, 1.80122502),
    )
    exponent = sum(factor * tau**power for power, factor in a)
    slope = sum(factor * power * tau ** (power - 1.0) for power, factor in a)
    pressure = critical_pa * math.exp(critical_k / t_k * exponent)
    dp_dt = -pressure / t_k * (math.log(pressure / critical_pa) + slope)
    b = (
        (1, 1.99274064),
        (2, 1.09965342),
        (5, -0.510839303),
        (16, -1.75493479),
        (43, -45.5170352),
        (110, -6.74694450e5),
    )
    liquid = critical_kg_m3 * (1.0 + sum(factor * tau ** (power / 3.0) for power, factor in b))
    c = ((2, -2.03150240), (4, -2.68302940), (8, -5.38626492), (18, -17.2991605), (37, -44.7586581), (71, -63.9201063))
    vapour = critical_kg_m3 * math.exp(sum(factor * tau ** (power / 6.0) for power, factor in c))
    return float(t_k * (1.0 / vapour - 1.0 / liquid) * dp_dt / 1000.0)


@pytest.mark.parametrize("t_c", [10.0, 20.0, 40.0, 60.0, 80.0, 90.0, 95.0, 100.0, 105.0])
def test_latent_heat_agrees_with_the_equations_of_the_saturation_line(t_c: float) -> None:
    assert water.latent_heat_j_g(t_c) == pytest.approx(clapeyron_latent_heat_j_g(t_c), rel=4e-4)


def test_the_protocols_round_values_lie_near_the_true_ones() -> None:
    # Water Boiling Test 4.2.3 and ISO 19867-1:2018 (from memory) against the IF97 mean of 20 to 100 degC.
    mean = sum(water.heat_capacity_j_gk(20.0 + 0.8 * i) for i in range(101)) / 101.0
    assert mean == pytest.approx(4.1885, abs=0.001)
    for heat_capacity, within in ((water.HEAT_CAPACITY_WBT_J_GK, 0.001), (water.HEAT_CAPACITY_ISO_J_GK, 0.0025)):
        assert heat_capacity == pytest.approx(mean, rel=within)
    for latent in (water.LATENT_HEAT_WBT_J_G, water.LATENT_HEAT_MOISTURE_WBT_J_G, water.LATENT_HEAT_ISO_J_G):
        assert latent == pytest.approx(water.latent_heat_j_g(100.0), rel=0.002)
