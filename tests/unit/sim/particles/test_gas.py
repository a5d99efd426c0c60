import numpy as np
import pytest

from emberline_sim.particles.gas import Burner, Gas

BURNER = Burner(2.0, 3.0, 4.0, 2.2, 3.0)
AREA_M2 = 7.85e-3


def new(seed: int = 1) -> Gas:
    return Gas(BURNER, AREA_M2, 20.0, np.random.default_rng(seed))


def run(
    gas: Gas,
    flux_g_m2s: float,
    for_s: float,
    *,
    char_k: float = 293.0,
    lighter: bool = False,
    cold: float = 0.0,
    wind: float = 0.0,
) -> int:
    """Return for how many of the steps a flame burnt."""
    fuel_g_s = flux_g_m2s * AREA_M2
    burnt = 0
    for _ in range(round(for_s / 0.5)):
        gas.step(0.5, fuel_g_s, 13000.0 * fuel_g_s, 0.0, char_k, False, lighter, cold, wind)
        burnt += gas.flame
    return burnt


def test_a_lighter_lights_gas_and_not_air() -> None:
    gas = new()
    assert run(gas, 0.0, 20.0, lighter=True) == 0
    assert run(gas, 6.0, 20.0, lighter=True) > 30


def test_starter_is_a_flame() -> None:
    gas = new()
    gas.step(0.5, 0.03, 800.0, 0.0, 293.0, True, False, 0.0, 0.0)
    assert gas.flame


def test_a_rich_flame_holds_for_ever_and_a_lean_one_dies_in_seconds() -> None:
    gas = new()
    run(gas, 10.0, 10.0, lighter=True)
    assert run(gas, 10.0, 600.0) == 1200
    assert run(gas, 0.6, 60.0) < 20


def test_a_flame_goes_out_about_the_critical_flux() -> None:
    """It falls slowly from 10 g/(m2 s): the flux at its end is what the burner says, within its hesitation."""
    ends = []
    for seed in range(20):
        gas = new(seed)
        run(gas, 10.0, 10.0, lighter=True)
        flux = 10.0
        while gas.flame:
            flux -= 0.01
            run(gas, flux, 0.5)
        ends.append(flux)
    assert np.median(ends) == pytest.approx(BURNER.critical_g_m2s, rel=0.2)


def test_gas_catches_again_from_glowing_char_only() -> None:
    assert run(new(), 8.0, 120.0, char_k=500.0) == 0
    assert run(new(), 8.0, 120.0, char_k=950.0) > 100
    assert run(new(), 2.5, 120.0, char_k=950.0) == 0


def test_wind_and_cold_fuel_make_it_harder_to_burn() -> None:
    for wind, cold in ((5.0, 0.0), (0.0, 200.0)):
        gas = new()
        run(gas, 10.0, 10.0, lighter=True)
        assert run(gas, 2.4, 200.0, wind=wind, cold=cold) < run_of_calm(2.4)


def run_of_calm(flux_g_m2s: float) -> int:
    gas = new()
    run(gas, 10.0, 10.0, lighter=True)
    return run(gas, flux_g_m2s, 200.0)


def test_hot_gas_draws_and_cools_when_the_flame_is_gone() -> None:
    gas = new()
    assert gas.pull == 0.0
    run(gas, 16.0, 120.0, lighter=True)
    assert 500.0 < gas.hot_c < 1250.0
    assert gas.pull > 0.7
    strong_g_s = gas.flow_g_s
    run(gas, 0.0, 300.0)
    assert gas.hot_c < 150.0
    assert gas.flow_g_s < 0.8 * strong_g_s
