"""Linear propagation of uncertainty (JCGM 100:2008) against the propagation of distributions (JCGM 101:2008).

JCGM 101, 7.2 asks for at least 10^4 / (1 - p) draws, section 8 for a comparison such as this one. The budget of the
first test is our own example, its figures worked out beforehand with 10^6 draws.
"""

import math
from collections.abc import Mapping

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

import burn_fixture
from emberline.heat.combustion import Charge, efficiency, net_energy_j
from emberline.heat.result import Result
from emberline.heat.results import compute_results
from emberline.heat.water import heat_into_water_j

DRAWS = 400_000
SEED = 20261125
Draws = NDArray[np.float64]

INPUTS = {
    "fuel_g": (400.0, 1.0),
    "moisture": (0.08, 0.005),
    "lhv": (18_692.0, 300.0),
    "char_g": (68.0, 2.0),
    "char_lhv": (29_500.0, 1500.0),
    "start_g": (2500.0, 2.0),
    "left_g": (2050.0, 2.0),
    "start_c": (20.0, 0.5),
    "end_c": (99.6, 0.5),
}


def drawn(inputs: Mapping[str, tuple[float, float]]) -> dict[str, Draws]:
    rng = np.random.default_rng(SEED)
    return {name: rng.normal(mean, u, DRAWS) for name, (mean, u) in inputs.items()}


def check(result: Result, draws: Draws) -> None:
    """Compare value, standard uncertainty and 95 % interval with those of the draws, as JCGM 101, 8.1 has it.

    The ends of the intervals must agree within half a unit of the one significant digit of u (clause 7.9.2).
    """
    u = float(np.std(draws))
    assert result.value.nominal_value == pytest.approx(float(np.mean(draws)), abs=0.05 * u)
    assert result.value.std_dev == pytest.approx(u, rel=0.02)
    low, high = np.quantile(draws, [0.025, 0.975])
    tolerance = 0.5 * 10.0 ** math.floor(math.log10(float(f"{u:.0e}")))
    assert result.interval_95 == pytest.approx((float(low), float(high)), abs=tolerance)


def test_budget_of_a_batch_with_and_without_char_credit() -> None:
    x = {name: ufloat(mean, u, tag=name) for name, (mean, u) in INPUTS.items()}
    heat_j = heat_into_water_j(x["start_g"], x["start_c"], x["end_c"], x["start_g"] - x["left_g"])
    fuel_j = Charge(x["fuel_g"], x["moisture"]).energy_j(x["lhv"])
    credited = Result(efficiency(heat_j, net_energy_j(fuel_j, x["char_g"] * x["char_lhv"])), "")
    plain = Result(efficiency(heat_j, fuel_j), "")

    d = drawn(INPUTS)
    useful = 4.186 * d["start_g"] * (d["end_c"] - d["start_c"]) + 2260.0 * (d["start_g"] - d["left_g"])
    spent = d["fuel_g"] * (d["lhv"] * (1.0 - d["moisture"]) - 2443.0 * d["moisture"])
    with_credit = useful / (spent - d["char_g"] * d["char_lhv"])
    check(credited, with_credit)
    check(plain, useful / spent)
    assert np.mean(with_credit) == pytest.approx(0.3863, abs=2e-4)
    assert np.std(with_credit) == pytest.approx(0.0138, abs=1e-4)
    assert np.quantile(with_credit, [0.025, 0.975]) == pytest.approx([0.3608, 0.4148], abs=5e-4)
    assert np.quantile(useful / spent, [0.025, 0.975]) == pytest.approx([0.2625, 0.2822], abs=3e-4)

    shares = {name: abs(part) for name, part in credited.budget.items()}
    expected = {"lhv": 0.89, "char_lhv": 0.82, "char_g": 0.48, "moisture": 0.34, "fuel_g": 0.14}
    expected |= {"start_g": 0.11, "left_g": 0.09, "start_c": 0.11, "end_c": 0.11}
    assert shares == pytest.approx({name: part / 100 for name, part in expected.items()}, abs=6e-5)


def test_results_of_a_whole_burn() -> None:
    """The sums of a whole burn written anew for arrays, char by mass balance, against `compute_results`."""
    account, events, plan, boiling_point = burn_fixture.usual()
    values = compute_results(account, events, plan, boiling_point).values
    fuel = plan.fuel
    inputs: dict[str, UFloat | None] = {
        "fuel_g": fuel.mass_g,
        "moisture": fuel.moisture_wet,
        "lhv": fuel.lhv_dry_j_g,
        "char_lhv": fuel.char_lhv_j_g,
        "starter_g": fuel.starter_g,
        "starter_lhv": fuel.starter_lhv_j_g,
        "span": ufloat(1.0, 0.002),
        "water_g": ufloat(500.0, 0.5),
        "evaporated_g": ufloat(60.0, 1.2),
        "rise_k": ufloat(81.2, 0.05),
        "lit_s": ufloat(60.0, 2.0),
        "flameout_s": ufloat(960.0, 6.0),
        "air_c": plan.place.ambient_c,
        "boiling_c": boiling_point,
    }
    d = drawn({name: (value.nominal_value, value.std_dev) for name, value in inputs.items() if value is not None})
    out_rate = float(np.mean(account.burning_rate_g_min[950:971])) / 60.0
    in_rate = float(np.mean(account.burning_rate_g_min[50:71])) / 60.0
    lost = 260.0 * d["span"] + out_rate * (d["flameout_s"] - 960.0)
    char = d["fuel_g"] + d["starter_g"] - lost
    seconds = d["flameout_s"] - d["lit_s"]
    fuel_j = d["fuel_g"] * (d["lhv"] * (1.0 - d["moisture"]) - 2443.0 * d["moisture"])
    starter_j = d["starter_g"] * d["starter_lhv"]
    net_j = fuel_j + starter_j - char * d["char_lhv"]
    heat_j = 4.186 * d["water_g"] * d["rise_k"] + 2260.0 * d["evaporated_g"]
    drying_j = d["fuel_g"] * d["moisture"] * (4.186 * (d["boiling_c"] - d["air_c"]) + 2257.0)
    dry_g = d["fuel_g"] * (1.0 - d["moisture"]) - (drying_j + char * d["char_lhv"]) / d["lhv"]

    check(values["char_left"], char)
    check(values["char_yield"], char / (d["fuel_g"] * (1.0 - d["moisture"])))
    check(values["burning_rate_mean"], 60.0 * (lost - in_rate * (d["lit_s"] - 60.0)) / seconds)
    check(values["firepower_mean"], net_j / seconds)
    check(values["firepower_gross_mean"], (fuel_j + starter_j) / seconds)
    check(values["equivalent_dry_fuel"], dry_g)
    check(values["thermal_efficiency"], heat_j / (fuel_j + starter_j))
    check(values["thermal_efficiency_char_credit"], heat_j / net_j)
    check(values["specific_fuel_consumption"], 1000.0 * dry_g / (d["water_g"] - d["evaporated_g"]))
    check(values["effective_heat_of_combustion"], (fuel_j - char * d["char_lhv"]) / (d["fuel_g"] - char))
