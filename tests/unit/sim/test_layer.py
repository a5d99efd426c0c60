import numpy as np
import pytest

from emberline_sim.forms import FORMS
from emberline_sim.layer import Layer, moisture_pace, volatiles_heat_j_g
from emberline_sim.trial_specs import FuelSpec


def test_heat_of_volatiles_closes_the_energy_balance() -> None:
    lhv, char_lhv, moisture, char_yield = 18400.0, 29500.0, 0.11, 0.20
    heat = volatiles_heat_j_g(lhv, char_lhv, moisture, char_yield)
    assert heat == pytest.approx(13207.0, abs=0.5)
    char_g = (1.0 - moisture) * char_yield
    as_fired = (1.0 - moisture) * lhv - 2443.0 * moisture
    assert heat * (1.0 - char_g) + char_lhv * char_g == pytest.approx(as_fired)


def test_moisture_slows_the_front() -> None:
    assert moisture_pace(0.10) == pytest.approx(1.0)
    assert moisture_pace(0.20) < moisture_pace(0.10) < moisture_pace(0.05)


def test_a_layer_turns_into_volatiles_and_char_and_nothing_is_lost() -> None:
    fuel = FuelSpec("sticks", 100.0, moisture_wet=0.12, char_yield=0.15)
    layer = Layer(FORMS["sticks"], 100.0, 0.12, fuel, 0.2, 60.0, 20.0, np.random.default_rng(1))
    assert sum(layer.raw_g) == pytest.approx(100.0)
    volatiles_g = char_g = 0.0
    early_g = sum(layer.step(0.5, 1.0, 1.0)[0] for _ in range(38))
    for _ in range(4000):
        out_g, made_g = layer.step(0.5, 1.0, 1.0)
        volatiles_g += out_g
        char_g += made_g
    assert early_g == 0.0
    assert char_g == pytest.approx(100.0 * 0.88 * 0.15)
    assert volatiles_g == pytest.approx(100.0 - char_g)
    assert layer.demand_g_s() == 0.0


def test_chilled_particles_hold_their_volatiles_back() -> None:
    layers = [
        Layer(FORMS["pieces"], 100.0, 0.1, FuelSpec("pieces", 100.0), 0.2, 60.0, 0.0, np.random.default_rng(1))
        for _ in "ab"
    ]
    for layer in layers:
        for _ in range(400):
            layer.step(0.5, 1.0, 1.0)
    warm_g, chilled_g = layers[0].step(0.5, 1.0, 1.0)[0], layers[1].step(0.5, 0.0, 0.1)[0]
    assert chilled_g < 0.15 * warm_g
