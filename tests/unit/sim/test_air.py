import numpy as np
import pytest

from emberline_sim.air import (
    boiling_point_c,
    evaporation_flux_g_m2s,
    latent_heat_j_g,
    pressure_at_altitude_pa,
    saturation_pressure_pa,
    wandering,
    wind_m_s,
)


def test_boiling_point_inverts_the_vapour_pressure() -> None:
    for pressure_pa in (55e3, 80e3, 101325.0, 104e3):
        assert saturation_pressure_pa(boiling_point_c(pressure_pa)) == pytest.approx(pressure_pa, rel=1e-6)


def test_pressure_falls_with_altitude() -> None:
    assert pressure_at_altitude_pa(0.0) == pytest.approx(101325.0)
    assert pressure_at_altitude_pa(2000.0) == pytest.approx(79495.0, rel=1e-3)


def test_latent_heat_falls_with_temperature() -> None:
    assert latent_heat_j_g(20.0) > latent_heat_j_g(60.0) > latent_heat_j_g(100.0)


def test_evaporation_rises_with_temperature_and_stops_in_saturated_air() -> None:
    flux = [evaporation_flux_g_m2s(t_c, 20.0, 0.5, 101325.0, 6.0) for t_c in (30.0, 60.0, 90.0, 99.0, 100.5)]
    assert flux == sorted(flux)
    assert evaporation_flux_g_m2s(15.0, 30.0, 1.0, 101325.0, 6.0) == 0.0


def test_wandering_has_unit_variance_and_its_memory() -> None:
    series = wandering(200_000, 0.5, 10.0, np.random.default_rng(3))
    assert series.std() == pytest.approx(1.0, abs=0.03)
    lag = 20
    assert np.corrcoef(series[:-lag], series[lag:])[0, 1] == pytest.approx(np.exp(-1.0), abs=0.03)


def test_wind_has_its_mean_and_gusts_and_can_be_absent() -> None:
    wind = wind_m_s(100_000, 0.5, 2.0, 0.4, np.random.default_rng(4))
    assert wind.mean() == pytest.approx(2.0, rel=0.05)
    assert wind.std() / wind.mean() == pytest.approx(0.4, rel=0.1)
    assert wind.min() > 0.0
    assert not wind_m_s(10, 0.5, 0.0, 0.4, np.random.default_rng(4)).any()
