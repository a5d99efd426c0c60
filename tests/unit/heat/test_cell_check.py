import numpy as np
import pytest
from uncertainties import ufloat

from emberline.bench.plan import LoadCellPlan
from emberline.heat.cell_check import U_WARMTH, error_about_zero, span_error, tied

HOUR_S = 3600.0


def test_a_cell_without_error_has_none() -> None:
    exact = error_about_zero(0.0, "load_cell_span")
    assert (exact.nominal_value, exact.std_dev) == (0.0, 0.0)
    assert error_about_zero(0.1, "water_probe").std_dev == 0.1
    assert next(iter(error_about_zero(0.1, "water_probe").derivatives)).tag == "water_probe"


def test_a_known_mass_says_what_the_span_is() -> None:
    # 500 g shown as 499.0 g: true weights are 0.2 % more than shown.
    told = LoadCellPlan(ufloat(500.0, 0.05, "load_cell.known_g"), ufloat(499.0, 0.1, "load_cell.shown_g"))
    error = span_error(0.002, told)
    assert error.nominal_value == pytest.approx(0.002004 * 0.987, rel=0.01)
    assert error.std_dev == pytest.approx(np.hypot(0.112 / 500.0, U_WARMTH), rel=0.03)
    assert {variable.tag for variable in error.derivatives} == {
        "load_cell_span",
        "load_cell_span_warm",
        "load_cell.known_g",
        "load_cell.shown_g",
    }


def test_a_light_mass_says_little_beside_a_good_calibration() -> None:
    told = LoadCellPlan(ufloat(50.0, 0.05), ufloat(50.4, 0.3))
    error = span_error(0.0005, told)
    assert abs(error.nominal_value) < 0.1 * 0.4 / 50.0
    assert error.std_dev < 0.0006


def test_two_looks_at_a_known_mass_are_averaged() -> None:
    told = LoadCellPlan(ufloat(500.0, 0.05), ufloat(499.0, 0.1), ufloat(501.0, 0.1))
    assert span_error(0.002, told).nominal_value == pytest.approx(0.0, abs=1e-5)


def test_without_a_known_mass_the_channel_is_believed() -> None:
    assert span_error(0.002, LoadCellPlan()).std_dev == 0.002
    assert tied((ufloat(0.0, 0.3),), 120.0, 2.0, LoadCellPlan())[1] == 0.0


def test_a_tied_walk_covers_walks_that_end_there() -> None:
    """Against walks drawn at random of which only those are kept that end as observed (rejection sampling)."""
    rng = np.random.default_rng(6)
    drift, u_hour, steps = 1.5, 2.0, 30
    each = u_hour / steps**0.5
    walks = np.cumsum(rng.normal(0.0, each, (200_000, steps)), axis=1)
    seen = walks[:, -1] + rng.normal(0.0, 0.2, len(walks))
    like = walks[np.abs(seen - drift) < 0.05]
    told = LoadCellPlan(zero_drift_g=ufloat(drift, 0.2), zero_drift_s=ufloat(HOUR_S, 5.0))
    found, _ = tied(tuple(ufloat(0.0, each) for _ in range(steps)), 120.0, u_hour, told)
    for upto in (5, 15, 30):
        total = sum(found[:upto])
        assert total.nominal_value == pytest.approx(float(like[:, upto - 1].mean()), abs=0.04)
        assert total.std_dev == pytest.approx(float(like[:, upto - 1].std()), rel=0.05)


def test_a_record_shorter_than_the_time_between_has_its_part_of_the_drift() -> None:
    told = LoadCellPlan(zero_drift_g=ufloat(2.0, 0.01), zero_drift_s=ufloat(2.0 * HOUR_S, 5.0))
    each = 2.0 / 30.0**0.5
    found, _ = tied(tuple(ufloat(0.0, each) for _ in range(30)), 120.0, 2.0, told)
    total = sum(found)
    assert total.nominal_value == pytest.approx(1.0, rel=0.01)
    assert total.std_dev == pytest.approx(2.0 * 0.5**0.5, rel=0.02)


def test_a_record_longer_than_the_time_between_is_free_after_it() -> None:
    told = LoadCellPlan(zero_drift_g=ufloat(2.0, 0.01), zero_drift_s=ufloat(1200.0, 5.0))
    found, _ = tied(tuple(ufloat(0.0, 0.3) for _ in range(30)), 120.0, 2.0, told)
    assert [step.nominal_value for step in found[10:]] == [0.0] * 20
