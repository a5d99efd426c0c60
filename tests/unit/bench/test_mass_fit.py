from dataclasses import replace

import numpy as np
import pytest

from emberline.bench.errors import CalibrationError
from emberline.bench.mass_fit import KnownLoad, expect_like_before, expect_masses, fit_mass

SLOPE, ZERO = 419.0, 84_213.0
MASSES_G = (0.0, 1000.0, 500.0, 0.0)


def loads(masses_g: tuple[float, ...] = MASSES_G, u_load_g: float = 0.1, u_counts: float = 4.0) -> list[KnownLoad]:
    return [KnownLoad(mass, u_load_g if mass else 0.0, ZERO + SLOPE * mass, u_counts) for mass in masses_g]


def test_a_straight_cell_gives_its_line() -> None:
    fit = fit_mass(loads())
    assert fit.counts_per_g == pytest.approx(SLOPE)
    assert fit.zero_counts == pytest.approx(ZERO)
    assert fit.linearity_g == pytest.approx(0.0, abs=1e-6)
    assert fit.repeatability_g == pytest.approx(0.0, abs=1e-9)
    assert fit.loads == tuple(loads())


def test_the_masses_and_the_readings_make_the_span_unsure_as_random_ones_do() -> None:
    """JCGM 101: the spread of the slopes that random masses and readings give is the stated uncertainty."""
    stated = fit_mass(loads()).u_span
    rng = np.random.default_rng(7)
    slopes = []
    for _ in range(4000):
        error_g = {mass: rng.normal(0.0, 0.1) if mass else 0.0 for mass in MASSES_G}
        counts = [ZERO + SLOPE * (mass + error_g[mass]) + rng.normal(0.0, 4.0) for mass in MASSES_G]
        slopes.append(np.polyfit(MASSES_G, counts, 1)[0])
    assert stated == pytest.approx(float(np.std(slopes)) / SLOPE, rel=0.05)


def test_a_bent_cell_and_one_that_does_not_come_back_are_less_sure() -> None:
    straight = fit_mass(loads())
    bent = loads()
    bent[2] = replace(bent[2], counts=bent[2].counts + 1.5 * SLOPE)
    lazy = loads()
    lazy[3] = replace(lazy[3], counts=lazy[3].counts + 2.0 * SLOPE)
    assert fit_mass(bent).linearity_g == pytest.approx(1.0, abs=0.2)
    assert fit_mass(lazy).hysteresis_g == pytest.approx(2.0, abs=0.01)
    assert fit_mass(lazy).repeatability_g == pytest.approx(2.0 / 2.0**0.5, abs=0.01)
    for worse in (fit_mass(bent), fit_mass(lazy)):
        assert worse.u_span > 2.0 * straight.u_span
        assert worse.u_zero_g > straight.u_zero_g


@pytest.mark.parametrize(
    ("index", "off_g", "words"),
    [(2, 60.0, "one typed as 500 g weighs 560.0 g"), (3, 12.0, "the empty cell shows"), (2, -499.0, "typed wrong")],
)
def test_points_that_no_cell_gives_are_refused(index: int, off_g: float, words: str) -> None:
    wrong = loads()
    wrong[index] = replace(wrong[index], counts=wrong[index].counts + off_g * SLOPE)
    with pytest.raises(CalibrationError, match=words):
        fit_mass(wrong)


def test_a_largest_mass_that_differs_when_laid_on_again_is_refused() -> None:
    wrong = loads((0.0, 1000.0, 0.0, 1000.0, 0.0))
    wrong[3] = replace(wrong[3], counts=wrong[3].counts + 9.0 * SLOPE)
    with pytest.raises(CalibrationError, match="when laid on again"):
        fit_mass(wrong)


def test_counts_that_hardly_move_are_refused() -> None:
    still = [replace(one, counts=ZERO + 3.0 * index) for index, one in enumerate(loads())]
    with pytest.raises(CalibrationError, match="nothing stood on the cell"):
        fit_mass(still)


def test_a_slope_like_before_is_taken_and_another_one_is_not() -> None:
    fit = fit_mass(loads())
    expect_like_before(fit, 1.02 * SLOPE, measured=True)
    expect_like_before(fit, 1.15 * SLOPE, measured=False)
    with pytest.raises(CalibrationError, match="by the last calibration the mass of 1000 g weighs 952 g"):
        expect_like_before(fit, 1.05 * SLOPE, measured=True)
    with pytest.raises(CalibrationError, match="weighs 2000 g: was another mass laid on"):
        expect_like_before(fit, 0.5 * SLOPE, measured=False)
    with pytest.raises(CalibrationError, match="the other way round"):
        expect_like_before(fit, -SLOPE, measured=False)


@pytest.mark.parametrize(
    ("masses_g", "words"),
    [
        ((0.0, 1000.0), "begin and end with the empty cell"),
        ((0.0, 1000.0, 500.0), "begin and end with the empty cell"),
        ((0.0, -5.0, 0.0), "not below 0"),
        ((0.0, 1000.0, 1000.0, 0.0), "must differ"),
        ((0.0, 6000.0, 0.0), "more than the cell can carry, 5000 g"),
        ((0.0, 100.0, 0.0), "use 500 g at least"),
    ],
)
def test_masses_that_make_no_calibration_are_refused_before_anything_is_laid_on(
    masses_g: tuple[float, ...], words: str
) -> None:
    with pytest.raises(CalibrationError, match=words):
        expect_masses(masses_g, 5000.0)


def test_masses_for_a_cell_of_unknown_capacity_are_taken() -> None:
    expect_masses(MASSES_G, None)
