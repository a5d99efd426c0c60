"""Pots that boil on the load cell and beside it, on curves by hand."""

import numpy as np
import pytest
from numpy.typing import NDArray

from emberline.curves.pot_beside import boils_beside

Array = NDArray[np.float64]
BOIL_S = 400
FUEL_G_S = 0.20
# A litre and its pot that warm by 0.1 K a second: 440 W, and 0.195 g of steam a second at 2257 J/g.
CAPACITY_J_K, WARMS_K_S, STEAM_G_S = 4400.0, 0.1, 0.195


def water() -> Array:
    return np.minimum(99.0 - WARMS_K_S * (BOIL_S - np.arange(800.0)), 99.0)


def loss(steam_g_s: float, fuel_g_s: float = FUEL_G_S, later_g_s: float = FUEL_G_S) -> Array:
    wander = np.random.default_rng(1).normal(0.0, 0.01, 800)
    boils = np.arange(800) >= BOIL_S
    return np.where(boils, later_g_s + steam_g_s, fuel_g_s) + wander


def test_a_pot_whose_steam_the_cell_shows_stands_on_it() -> None:
    assert not boils_beside(loss(STEAM_G_S), water(), BOIL_S, CAPACITY_J_K)
    assert not boils_beside(loss(0.5 * STEAM_G_S), water(), BOIL_S, CAPACITY_J_K)


def test_a_pot_that_boils_while_the_loss_goes_on_as_before_stands_beside_it() -> None:
    assert boils_beside(loss(0.0), water(), BOIL_S, CAPACITY_J_K)


def test_a_fire_that_dies_as_the_water_boils_tells_nothing() -> None:
    assert not boils_beside(loss(0.0, later_g_s=0.5 * FUEL_G_S), water(), BOIL_S, CAPACITY_J_K)


def test_steam_too_little_beside_a_large_fire_tells_nothing() -> None:
    assert not boils_beside(loss(0.0), water(), BOIL_S, 0.2 * CAPACITY_J_K)


@pytest.mark.parametrize("gone", ["water", "loss", "before"])
def test_what_was_not_read_tells_nothing(gone: str) -> None:
    water_c, loss_g_s, boil_s = water(), loss(0.0), float(BOIL_S)
    if gone == "water":
        water_c[300:395] = np.nan
    elif gone == "loss":
        loss_g_s[405:500] = np.nan
    else:
        boil_s = 0.0
    assert not boils_beside(loss_g_s, water_c, boil_s, CAPACITY_J_K)
