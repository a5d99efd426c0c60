"""Equations of the Water Boiling Test 4.2.3 (19 March 2014) on worked examples.

The equations are from memory of the document; the examples are our own, worked by hand from them, none is published.
"""

from dataclasses import dataclass

import pytest

from emberline.heat.combustion import efficiency, equivalent_dry_fuel_g
from emberline.heat.water import corrected_for_rise, effective_water_g, heat_into_water_j

LHV_J_G, CHAR_LHV_J_G = 18_400.0, 29_500.0
AIR_C, BOILING_C = 22.0, 99.0


@dataclass(frozen=True)
class Phase:
    """One phase of a test, as its form has it."""

    fuel_g: float
    char_g: float
    water_g: float
    left_g: float
    start_c: float
    end_c: float
    minutes: float

    @property
    def dry_g(self) -> float:
        return float(
            equivalent_dry_fuel_g(
                self.fuel_g,
                0.10,
                self.char_g,
                lhv_dry_j_g=LHV_J_G,
                char_lhv_j_g=CHAR_LHV_J_G,
                air_c=AIR_C,
                boiling_c=BOILING_C,
            )
        )

    @property
    def heat_j(self) -> float:
        return float(heat_into_water_j(self.water_g, self.start_c, self.end_c, self.water_g - self.left_g))

    @property
    def share(self) -> float:
        return float(efficiency(self.heat_j, self.dry_g * LHV_J_G))

    @property
    def firepower_w(self) -> float:
        return self.dry_g * LHV_J_G / (60.0 * self.minutes)


COLD = Phase(650.0, 30.0, 5000.0, 4870.0, 22.0, 99.0, 24.0)
HOT = Phase(600.0, 35.0, 5000.0, 4885.0, 22.0, 99.0, 20.0)
SIMMER = Phase(500.0, 25.0, 4885.0, 4300.0, 97.5, 96.0, 45.0)


def test_high_power_cold_start() -> None:
    assert COLD.dry_g == pytest.approx(527.79, abs=0.005)
    assert COLD.heat_j / 1000 == pytest.approx(1905.41, abs=0.005)
    assert COLD.share == pytest.approx(0.1962, abs=5e-5)
    assert COLD.dry_g / COLD.minutes == pytest.approx(21.99, abs=0.005)
    assert COLD.firepower_w == pytest.approx(6744.0, abs=0.5)
    effective_g = effective_water_g(COLD.left_g, COLD.start_c, COLD.end_c, BOILING_C)
    assert effective_g == pytest.approx(4870.0)
    consumption_g_kg = 1000.0 * COLD.dry_g / effective_g
    assert consumption_g_kg == pytest.approx(108.38, abs=0.005)
    assert corrected_for_rise(COLD.minutes, COLD.start_c, COLD.end_c) == pytest.approx(23.38, abs=0.005)
    corrected_g_kg = corrected_for_rise(consumption_g_kg, COLD.start_c, COLD.end_c)
    assert corrected_g_kg == pytest.approx(105.56, abs=0.005)
    assert corrected_g_kg * LHV_J_G / 1000.0 == pytest.approx(1942.0, abs=0.5)


def test_high_power_hot_start() -> None:
    assert HOT.dry_g == pytest.approx(475.48, abs=0.005)
    assert HOT.share == pytest.approx(0.2139, abs=5e-5)
    assert HOT.firepower_w == pytest.approx(7291.0, abs=0.5)
    assert HOT.dry_g / HOT.minutes == pytest.approx(23.77, abs=0.005)
    assert 1000.0 * HOT.dry_g / HOT.left_g == pytest.approx(97.33, abs=0.005)
    assert corrected_for_rise(HOT.minutes, HOT.start_c, HOT.end_c) == pytest.approx(19.48, abs=0.005)


def test_simmer_and_turndown() -> None:
    assert SIMMER.dry_g == pytest.approx(402.91, abs=0.005)
    assert SIMMER.heat_j / 1000 == pytest.approx(1291.43, abs=0.005)
    assert SIMMER.share == pytest.approx(0.1742, abs=5e-5)
    assert SIMMER.firepower_w == pytest.approx(2745.8, abs=0.05)
    assert SIMMER.dry_g / SIMMER.minutes == pytest.approx(8.95, abs=0.005)
    assert 1000.0 * SIMMER.dry_g / SIMMER.left_g == pytest.approx(93.70, abs=0.005)
    assert HOT.firepower_w / SIMMER.firepower_w == pytest.approx(2.66, abs=0.005)


def test_small_batch_agrees_with_the_iso_form_to_a_tenth_of_a_point() -> None:
    # The batch of test_iso_19867.py by the other protocol: char credit lies within the equivalent dry fuel.
    dry_g = equivalent_dry_fuel_g(
        400.0, 0.08, 68.0, lhv_dry_j_g=18_692.3, char_lhv_j_g=29_500.0, air_c=20.0, boiling_c=99.6
    )
    assert dry_g == pytest.approx(256.25, abs=0.005)
    share = efficiency(heat_into_water_j(2500.0, 20.0, 99.6, 450.0), dry_g * 18_692.3)
    assert share == pytest.approx(0.3862, abs=5e-5)
    assert dry_g * 18_692.3 / 1800.0 == pytest.approx(2661.0, abs=0.5)
