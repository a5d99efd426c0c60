"""Comparisons against certified data sets and against two general-purpose libraries of statistics.

Data and certified values of the NIST Statistical Reference Datasets (StRD): SiRstv (analysis of variance) and Norris
(linear regression); typed from memory, and proved right by their certified values.
"""

import math
from itertools import combinations

import numpy as np
import pytest
from scipy import stats
from statsmodels.regression.linear_model import OLS
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.power import TTestIndPower
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW
from statsmodels.tools.tools import add_constant

from emberline.trials.comparison.burns_needed import POWER, burns_needed, power, resolved
from emberline.trials.comparison.differences import all_differences, difference, holm
from emberline.trials.comparison.measured import Measured, sample_of
from emberline.trials.comparison.trend import trend

SIRSTV = {
    "1": [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    "2": [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    "3": [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    "4": [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    "5": [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
}
SIRSTV_F = 1.18046237440255
SIRSTV_RESIDUAL_SD = 0.104076068334656
NORRIS_Y = [
    *(
        0.1,
        338.8,
        118.1,
        888.0,
        9.2,
        228.1,
        668.5,
        998.5,
        449.1,
        778.9,
        559.2,
        0.3,
        0.1,
        778.1,
        668.8,
        339.3,
        448.9,
        10.8,
    ),
    *(
        557.7,
        228.3,
        998.0,
        888.8,
        119.6,
        0.3,
        0.6,
        557.6,
        339.3,
        888.0,
        998.5,
        778.9,
        10.2,
        117.6,
        228.9,
        668.4,
        449.2,
        0.2,
    ),
]
NORRIS_X = [
    *(
        0.2,
        337.4,
        118.2,
        884.6,
        10.1,
        226.5,
        666.3,
        996.3,
        448.6,
        777.0,
        558.2,
        0.4,
        0.6,
        775.5,
        666.9,
        338.0,
        447.5,
        11.6,
    ),
    *(
        556.0,
        228.1,
        995.8,
        887.6,
        120.2,
        0.3,
        0.3,
        556.8,
        339.1,
        887.2,
        999.0,
        779.0,
        11.1,
        118.3,
        229.2,
        669.1,
        448.9,
        0.5,
    ),
]
NORRIS_SLOPE, NORRIS_U_SLOPE, NORRIS_INTERCEPT = 1.00211681802045, 0.429796848199937e-3, -0.262323073774029
NORRIS_SD = 0.884796396144373
EXACT = 1e-9


def measured(values: list[float]) -> list[Measured]:
    return [Measured(str(n), value) for n, value in enumerate(values)]


def test_samples_give_the_certified_analysis_of_variance() -> None:
    samples = [sample_of(values) for values in SIRSTV.values()]
    within = math.sqrt(sum((s.sd or 0.0) ** 2 for s in samples) / len(samples))
    assert within == pytest.approx(SIRSTV_RESIDUAL_SD, rel=EXACT)
    between = 5 * float(np.var([s.mean for s in samples], ddof=1))
    assert between / within**2 == pytest.approx(SIRSTV_F, rel=EXACT)


@pytest.mark.parametrize("values", SIRSTV.values(), ids=SIRSTV)
def test_a_sample_is_that_of_scipy(values: list[float]) -> None:
    sample = sample_of(values)
    assert sample.mean == pytest.approx(np.mean(values), rel=EXACT)
    assert sample.sd == pytest.approx(np.std(values, ddof=1), rel=EXACT)
    assert sample.cv == pytest.approx(stats.variation(values, ddof=1), rel=EXACT)
    assert sample.u_mean == pytest.approx(stats.sem(values), rel=EXACT)
    assert sample.interval_95 == pytest.approx(DescrStatsW(values).tconfint_mean(), rel=EXACT)


@pytest.mark.parametrize("pair", list(combinations(SIRSTV, 2)))
def test_a_difference_is_that_of_scipy_and_statsmodels(pair: tuple[str, str]) -> None:
    a, b = (SIRSTV[name] for name in pair)
    found = difference(measured(a), measured(b))
    welch = stats.ttest_ind(b, a, equal_var=False)
    assert found.p == pytest.approx(float(welch.pvalue), rel=EXACT)
    assert found.df == pytest.approx(float(welch.df), rel=EXACT)
    means = CompareMeans(DescrStatsW(b), DescrStatsW(a))
    assert found.interval_95 == pytest.approx(means.tconfint_diff(usevar="unequal"), rel=EXACT, abs=EXACT)
    assert found.u == pytest.approx(float(means.std_meandiff_separatevar), rel=EXACT)


def test_all_pairs_are_adjusted_as_statsmodels_does() -> None:
    found = all_differences({name: measured(values) for name, values in SIRSTV.items()})
    assert len(found) == 10
    adjusted = multipletests([one.p for one in found], method="holm")[1]
    assert [one.p_holm for one in found] == pytest.approx(list(adjusted), rel=EXACT)


def test_holm_is_that_of_statsmodels_where_some_are_small_and_some_alike() -> None:
    p_values = [0.01, 0.04, 0.03, 0.005, 0.03, 0.9, 1e-12]
    assert holm(p_values) == pytest.approx(list(multipletests(p_values, method="holm")[1]), rel=EXACT)


def test_a_trend_has_the_certified_line() -> None:
    found = trend(NORRIS_X, NORRIS_Y)
    assert found.slope == pytest.approx(NORRIS_SLOPE, rel=EXACT)
    assert found.at_centre - found.slope * found.centre == pytest.approx(NORRIS_INTERCEPT, rel=EXACT)
    assert found.sd == pytest.approx(NORRIS_SD, rel=EXACT)
    assert found.sd / math.sqrt(found.spread) == pytest.approx(NORRIS_U_SLOPE, rel=EXACT)


def test_a_trends_interval_and_band_are_those_of_statsmodels() -> None:
    found = trend(NORRIS_X, NORRIS_Y)
    fitted = OLS(NORRIS_Y, add_constant(NORRIS_X)).fit()
    assert found.slope_interval_95 == pytest.approx(list(fitted.conf_int()[1]), rel=EXACT)
    x = np.array([0.0, 250.0, 1_100.0])
    predicted = fitted.get_prediction(add_constant(x))
    low, high = predicted.conf_int().T
    assert found.line(x) == pytest.approx(predicted.predicted_mean, rel=EXACT)
    assert found.half_band(x) == pytest.approx((high - low) / 2.0, rel=EXACT)


@pytest.mark.parametrize("effect", [0.3, 0.8, 1.2, 2.5])
@pytest.mark.parametrize("n", [2, 5, 20])
def test_power_is_that_of_statsmodels(effect: float, n: int) -> None:
    assert power(effect * 7.0, 7.0, n) == pytest.approx(TTestIndPower().power(effect, n, 0.05), rel=EXACT)


@pytest.mark.parametrize("effect", [0.25, 0.5, 1.0, 1.7, 3.0])
def test_the_number_of_burns_is_that_of_statsmodels(effect: float) -> None:
    asked = float(TTestIndPower().solve_power(effect_size=effect, power=POWER, alpha=0.05))
    assert burns_needed(effect * 12.0, 12.0) == math.ceil(asked)


def test_a_textbook_number_of_burns() -> None:
    """Cohen, Statistical Power Analysis for the Behavioral Sciences, 2nd ed. 1988, table 2.4.1, from memory."""
    assert burns_needed(0.5, 1.0) == 64
    assert burns_needed(0.8, 1.0) == 26


@pytest.mark.parametrize("n", [3, 8])
def test_what_burns_resolve_is_that_of_statsmodels(n: int) -> None:
    asked = float(TTestIndPower().solve_power(nobs1=n, power=POWER, alpha=0.05))
    assert resolved(2.0, n) == pytest.approx(2.0 * asked, rel=1e-6)
