"""Linear propagation of uncertainty (JCGM 100:2008) against the propagation of distributions (JCGM 101:2008).

JCGM 101, 7.2 asks for at least 10^4 / (1 - p) draws, section 8 for a comparison such as this one. The budget of the
first test is our own example, its figures worked out beforehand with 10^6 draws.
"""

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat
from uncertainties.core import Variable

import burn_fixture
from emberline.bench.channels import Channel, Role, default_channel
from emberline.bench.plan import empty_plan
from emberline.curves.burning_rate import LossRate
from emberline.curves.loads import tell_apart
from emberline.curves.mass_steps import MassStep
from emberline.heat.burn import Burn
from emberline.heat.combustion import Charge, efficiency, net_energy_j
from emberline.heat.result import Result
from emberline.heat.results import compute_results
from emberline.heat.scale import CREEP, DRAUGHT_G, Scale, scale_of
from emberline.heat.uncharred import uncharred
from emberline.heat.water import heat_into_water_j
from emberline.heat.water_probe import water_probe_of

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
    burn = Burn(account, events, plan, boiling_point)
    left = burn.left_g / burn.burnt.dry_g
    wood = uncharred(left.nominal_value, left.std_dev, sorted_out=False)
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
        "unfinished": ufloat(wood.wood, wood.u_wood),
        "unsorted_g": burn.unsorted_g,
    }
    d = drawn({name: (value.nominal_value, value.std_dev) for name, value in inputs.items() if value is not None})
    out_rate = float(np.mean(account.burning_rate_g_min[950:971])) / 60.0
    in_rate = float(np.mean(account.burning_rate_g_min[50:71])) / 60.0
    lost = 260.0 * d["span"] + out_rate * (d["flameout_s"] - 960.0)
    char = d["fuel_g"] + d["starter_g"] - lost
    seconds = d["flameout_s"] - d["lit_s"]
    fired_j_g = d["lhv"] * (1.0 - d["moisture"]) - 2443.0 * d["moisture"]
    fuel_j = d["fuel_g"] * fired_j_g
    starter_j = d["starter_g"] * d["starter_lhv"]
    left_lhv = d["char_lhv"] - d["unfinished"] * (d["char_lhv"] - d["lhv"])
    net_j = fuel_j + starter_j - char * left_lhv
    heat_j = 4.186 * d["water_g"] * d["rise_k"] + 2260.0 * d["evaporated_g"]
    gross_j = fuel_j - d["unsorted_g"] * fired_j_g + starter_j
    drying_j = d["fuel_g"] * d["moisture"] * (4.186 * (d["boiling_c"] - d["air_c"]) + 2257.0)
    dry_g = d["fuel_g"] * (1.0 - d["moisture"]) - (drying_j + char * d["char_lhv"]) / d["lhv"]

    check(values["char_left"], char)
    check(values["char_yield"], (char - d["unsorted_g"]) / ((d["fuel_g"] - d["unsorted_g"]) * (1.0 - d["moisture"])))
    check(values["burning_rate_mean"], 60.0 * (lost - in_rate * (d["lit_s"] - 60.0)) / seconds)
    check(values["firepower_mean"], net_j / seconds)
    check(values["firepower_gross_mean"], gross_j / seconds)
    check(values["equivalent_dry_fuel"], dry_g)
    check(values["thermal_efficiency"], heat_j / gross_j)
    check(values["thermal_efficiency_char_credit"], heat_j / net_j)
    check(values["specific_fuel_consumption"], 1000.0 * dry_g / (d["water_g"] - d["evaporated_g"]))
    check(values["effective_heat_of_combustion"], (fuel_j - char * left_lhv) / (d["fuel_g"] - char))


LOSS_G_S, POT_G = 0.15, 900.0
POT_ON, POT_OFF = (
    MassStep(at, at + 2, ufloat(size, 0.4, "mass_step"), POT_G, ufloat(at + 1.0, 0.5))
    for at, size in ((300, POT_G), (1200, 40.0 - POT_G))
)


def scale_of_a_burn(channel: Channel) -> Scale:
    """A cell on which 0.15 g/s burn from 200 s to 1500 s, and a pot stands from 300 s to 1200 s."""
    seconds = np.arange(1800, dtype=np.float64) + 0.5
    level = np.ones(1800)
    mass = 900.0 - LOSS_G_S * np.clip(seconds - 200.0, 0.0, 1300.0)
    loss = LossRate(mass, LOSS_G_S * level, 0.01 * level, 0.1 * level, 0.1 * level, 1e-5)
    return scale_of(loss, tell_apart([POT_ON, POT_OFF], empty_plan(), 200.0), channel)


@pytest.mark.parametrize(("a_s", "b_s"), [(150.0, 450.0), (150.0, 1700.0), (600.0, 1100.0), (900.0, 1600.0)])
def test_what_left_a_load_cell_that_wanders_creeps_and_is_lifted(a_s: float, b_s: float) -> None:
    """Every error drawn and put into a reading, from which the loss is worked out as a person would."""
    channel = default_channel(Role.MASS)
    lost = scale_of_a_burn(channel).lost(a_s, b_s)
    rng = np.random.default_rng(SEED)
    draws = 60_000

    # A zero that walks at random in half minutes, as far in an hour as the channel says.
    halves = np.cumsum(rng.normal(0.0, channel.u_drift_per_hour / 120.0**0.5, (draws, 60)), axis=1)
    walked = np.concatenate((np.zeros((draws, 1)), halves), axis=1)
    zero = walked[:, round(b_s / 30.0)] - walked[:, round(a_s / 30.0)]
    span = rng.normal(0.0, channel.u_scale, draws)
    creep, draught = rng.normal(0.0, CREEP, draws), rng.normal(0.0, DRAUGHT_G, draws)

    def crept(t_s: float) -> float:
        loads = [(302.0, POT_G), (1202.0, 40.0 - POT_G)]
        return sum(load * (1.0 - math.exp((at - t_s) / 600.0)) for at, load in loads if at < t_s)

    def burns(t_s: float) -> float:
        return max(0.0, min(1.0, (t_s - 200.0) / 60.0, 1.0 - (t_s - 1500.0) / 60.0))

    noise = rng.normal(0.0, 0.1, draws) - rng.normal(0.0, 0.1, draws)
    steps = sum(rng.normal(0.0, 0.4, draws) for at in (302.0, 1202.0) if a_s < at <= b_s) + np.zeros(draws)
    true = LOSS_G_S * (min(b_s, 1500.0) - max(a_s, 200.0))
    shown = (true + noise + steps) * (1.0 + span) + zero
    shown = shown + creep * (crept(b_s) - crept(a_s)) + draught * (burns(b_s) - burns(a_s))
    assert lost.nominal_value == pytest.approx(true, abs=0.1)
    # Within two minutes the host's zero walks straight.
    assert lost.std_dev == pytest.approx(float(np.std(shown)), rel=0.05)


def test_heat_into_water_read_by_a_probe_with_span_drift_and_lag() -> None:
    channel = Channel("water", Role.WATER, "c", u_bias=1.85, u_scale=0.0043, u_drift_per_hour=0.3, time_constant_s=3.0)
    seconds = np.arange(1000, dtype=np.float64) + 0.5
    ramp = 15.0 + 0.08 * np.maximum(seconds - 203.0, 0.0)
    probe = water_probe_of(ramp, replace(channel, u_time_constant_s=1.0))
    start, end = probe.rising_from(200.0, 0.0), probe.rising_to(900.0)
    assert start is not None
    assert end is not None
    heat_j = heat_into_water_j(ufloat(500.0, 0.5, "water"), start, end[0], ufloat(40.0, 1.0, "evaporated"))

    rng = np.random.default_rng(SEED)
    bias, span = rng.normal(0.0, 1.85, DRAWS), rng.normal(0.0, 0.0043, DRAWS)
    drift, lag = rng.normal(0.0, 0.3, DRAWS), rng.normal(0.0, 1.0, DRAWS)
    own = [rng.normal(0.0, value.error_components()[tag_of(value, "water_curve")], DRAWS) for value in (start, end[0])]
    slopes = (value_slope(start), value_slope(end[0]))

    def read(value: UFloat, t_s: float, curve: Draws, slope: float) -> Draws:
        return np.asarray(value.nominal_value * (1.0 + span) + bias + drift * t_s / 3600.0 + slope * lag + curve)

    start_c = read(start, 200.0, own[0], slopes[0])
    end_c = read(end[0], 900.0, own[1], slopes[1])
    water_g, gone_g = rng.normal(500.0, 0.5, DRAWS), rng.normal(40.0, 1.0, DRAWS)
    check(Result(heat_j, "J"), 4.186 * water_g * (end_c - start_c) + 2260.0 * gone_g)
    # The constant error, the largest of all, is in none of it.
    assert Result(heat_j, "J").budget.get("water_probe", 0.0) == pytest.approx(0.0, abs=1e-6)


def tag_of(value: UFloat, tag: str) -> Variable:
    """Return the one variable of a tag."""
    return next(variable for variable in value.error_components() if variable.tag == tag)


def value_slope(value: UFloat) -> float:
    """Return how a temperature moves with the probe's lag, K/s."""
    return float(value.derivatives[tag_of(value, "water_probe_lag")])
