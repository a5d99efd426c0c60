"""Results do not hang on when within a second a record began, nor much on how often a load cell was read.

What a shift by some tenths of a second, or another rate, changes must be small beside what is stated: a reader takes
the stated uncertainty for everything that could have come out otherwise.
"""

from collections.abc import Mapping
from functools import cache

import pytest

from emberline.bench.channels import Role
from emberline.bench.plan import Plan, parse_plan
from emberline.bench.samples import Curve
from emberline.heat.results import Results
from emberline.trials.analysis import analyse
from emberline.trials.tracker import Tracked
from emberline_sim.files import plan_text
from emberline_sim.recording import record
from emberline_sim.scenario import load_scenario

NAMES = (
    "burning_rate_mean", "burn_time", "fuel_mass_lost", "char_left", "water_evaporated", "firepower_mean",
    "cooking_power", "pot_window_efficiency", "thermal_efficiency", "time_to_boil",
)  # fmt: skip
SHIFTED, SPARSE = 0.5, 1.0
"""Largest change by a shift, and by another rate, in stated standard uncertainties: fewer readings are noisier, too."""

Curves = Mapping[Role, Curve]


@cache
def burn(name: str) -> tuple[Curves, Plan]:
    recording = record(load_scenario(name))
    curves = {Role(role): Curve(channel.t_s, channel.value) for role, channel in recording.channels.items()}
    return curves, parse_plan(plan_text(recording))


@cache
def as_recorded(name: str) -> Results:
    return results_of(*burn(name))


def results_of(curves: Curves, plan: Plan) -> Results:
    return analyse(curves, {}, plan, tracked=Tracked()).results


def largest_change(name: str, other: Results) -> float:
    """Return the largest change of a main result, in standard uncertainties of the changed one."""
    usual = as_recorded(name).values
    assert usual.keys() == other.values.keys()
    return max(
        abs(float(other.values[one].value.nominal_value - usual[one].value.nominal_value))
        / float(other.values[one].value.std_dev)
        for one in NAMES
        if one in usual
    )


@pytest.mark.parametrize("name", ["pellets_pot_lifted", "pot_never_lifted", "mass_only"])
@pytest.mark.parametrize("by_s", [0.3, 0.7])
def test_a_record_that_begins_some_tenths_later_gives_the_same(name: str, by_s: float) -> None:
    curves, plan = burn(name)
    later = {role: Curve(c.t_s[c.t_s >= by_s] - by_s, c.value[c.t_s >= by_s]) for role, c in curves.items()}
    assert largest_change(name, results_of(later, plan)) < SHIFTED


@pytest.mark.parametrize("name", ["pellets_pot_lifted", "pot_never_lifted", "fast_cell"])
@pytest.mark.parametrize("every", [2, 5])
def test_a_load_cell_that_is_read_more_seldom_gives_much_the_same(name: str, every: int) -> None:
    curves, plan = burn(name)
    sparse = {role: Curve(c.t_s[::every], c.value[::every]) if role is Role.MASS else c for role, c in curves.items()}
    assert largest_change(name, results_of(sparse, plan)) < SPARSE
