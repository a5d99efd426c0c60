from collections.abc import Callable

import pytest

from emberline_sim.particles.burn import ParticleBurn

Make = Callable[..., ParticleBurn]


def test_results_follow_from_the_truth(burn: Make) -> None:
    one = burn("lifted")
    truth, results = one.truth, one.results
    lit_s, out_s, boil_s = (truth.time_of(kind) for kind in ("lit", "flameout", "boil"))
    assert lit_s is not None
    assert out_s is not None
    assert boil_s is not None
    assert results["burn_time"] == out_s - lit_s
    assert results["time_to_boil"] == boil_s - max(lit_s, truth.stays[0].pot_on_s)
    assert results["pot_window_efficiency"] == pytest.approx(
        truth.heat_into_water_j / sum(stay.heat_released_j for stay in truth.stays)
    )


def test_credit_for_char_raises_efficiency(burn: Make) -> None:
    results = burn("lifted").results
    assert 0.02 < results["thermal_efficiency"] < results["thermal_efficiency_char_credit"] < 0.6
    assert results["firepower_mean"] < results["firepower_gross_mean"]


def test_what_does_not_exist_is_missing(burn: Make) -> None:
    assert "time_to_boil" not in burn("stalls").results
    assert "water_evaporated" not in burn("bare").results
    assert "burn_time" not in burn("never_lit").results
    assert "fuel_mass_lost" not in burn("begun_late").results
    assert "time_to_boil" not in burn("looked_at").results
