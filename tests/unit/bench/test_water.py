import numpy as np
import pytest

from emberline.bench.water import heat_capacity_j_gk, latent_heat_j_g


def test_floats_and_arrays_agree() -> None:
    t_c = np.array([20.0, 60.0, 100.0])
    for function in (heat_capacity_j_gk, latent_heat_j_g):
        assert function(t_c) == pytest.approx([function(float(t)) for t in t_c])


def test_less_heat_evaporates_hotter_water() -> None:
    t_c = np.linspace(0.0, 110.0, 111)
    assert np.all(np.diff(latent_heat_j_g(t_c)) < 0)


def test_heat_capacity_has_its_minimum_near_blood_heat() -> None:
    # A known peculiarity of water: 34 to 37 degC at atmospheric pressure (CRC Handbook, from memory).
    t_c = np.linspace(0.0, 100.0, 1001)
    assert 30.0 < t_c[heat_capacity_j_gk(t_c).argmin()] < 40.0
