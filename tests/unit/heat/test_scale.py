from dataclasses import replace

import numpy as np
import pytest
from uncertainties import UFloat, ufloat

from emberline.bench.channels import Channel, Role, Warmth, default_channel
from emberline.bench.plan import LoadCellPlan, empty_plan
from emberline.curves.burning_rate import LossRate
from emberline.curves.grid import Column
from emberline.curves.loads import tell_apart
from emberline.curves.mass_steps import MassStep
from emberline.heat.scale import DRAUGHT_G, Scale, scale_of

N = 1000
RATE_G_S = 0.15
POT_ON = MassStep(300, 304, ufloat(800.0, 0.5, "mass_step"), 800.0, ufloat(302.0, 0.5))


def scale(channel: Channel | None = None, *, u_mass_g: float = 0.1) -> Scale:
    """A cell on which 0.15 g/s burn and a pot is set down after five minutes."""
    seconds = np.arange(N, dtype=np.float64) + 0.5
    level = np.ones(N)
    loss = LossRate(900.0 - RATE_G_S * seconds, RATE_G_S * level, 0.01 * level, u_mass_g * level, 0.1 * level, 1e-5)
    return scale_of(loss, tell_apart([POT_ON], empty_plan(), 60.0), channel or default_channel(Role.MASS))


def burning_from_300_to_600() -> Scale:
    """A cell on which 0.15 g/s burn for five minutes."""
    seconds = np.arange(N, dtype=np.float64) + 0.5
    level = np.ones(N)
    mass = 900.0 - RATE_G_S * np.clip(seconds - 300.0, 0.0, 300.0)
    loss = LossRate(mass, 0.0 * level, 0.01 * level, 1e-6 * level, 0.1 * level, 1e-5)
    return scale_of(loss, tell_apart([], empty_plan(), 60.0), default_channel(Role.MASS))


def parts(value: UFloat) -> dict[str, float]:
    """Return the contribution of each tag to an uncertainty."""
    found: dict[str, float] = {}
    for variable, by in value.error_components().items():
        found[str(variable.tag)] = float(np.hypot(found.get(str(variable.tag), 0.0), by))
    return {tag: by for tag, by in found.items() if by > 0.0}


def test_what_left_is_what_the_smoothed_curve_lost_and_no_load() -> None:
    assert scale().lost(100.0, 250.0).nominal_value == pytest.approx(0.15 * 150.0)
    assert scale().lost(100.0, 700.0).nominal_value == pytest.approx(0.15 * 600.0)


def test_moments_between_seconds_count() -> None:
    assert scale().lost(100.25, 100.75).nominal_value == pytest.approx(0.15 * 0.5)


def test_each_error_of_the_cell_has_its_part() -> None:
    # Assumed: 0.2 % of span, 2 g of drift in an hour, which is 2 g * sqrt(1/30) in each two minutes, of which a sixth,
    # a whole and a twelfth are touched.
    lost = scale().lost(100.0, 250.0)
    expected = {
        "load_cell_span": 0.002 * 22.5,
        "load_cell_drift": 2.0 / 30.0**0.5 * (1 / 36 + 1 + 1 / 144) ** 0.5,
        "mass_curve": 0.1 * 2.0**0.5,
    }
    assert parts(lost) == pytest.approx(expected, rel=1e-6)


def test_the_zero_wanders_as_the_root_of_time_and_keeps_its_sums() -> None:
    cell = scale()
    assert cell.zero_shift(0.0, 960.0).std_dev == pytest.approx(2.0 * (960.0 / 3600.0) ** 0.5)
    assert cell.u_wander_g(np.array([960.0]))[0] == pytest.approx(cell.zero_shift(0.0, 960.0).std_dev)
    whole, parts_of_it = cell.zero_shift(100.0, 800.0), cell.zero_shift(100.0, 450.0) + cell.zero_shift(450.0, 800.0)
    assert (whole - parts_of_it).std_dev == pytest.approx(0.0, abs=1e-12)


def test_a_new_load_creeps_in_and_a_lifted_one_creeps_back() -> None:
    cell = scale()
    assert "load_cell_creep" not in parts(cell.lost(100.0, 290.0))
    # 0.03 % of 800 g, seven tenths of it after twelve minutes (1 - exp(-696 / 600)).
    assert parts(cell.lost(100.0, 1000.0))["load_cell_creep"] == pytest.approx(0.24 * 0.6865, rel=1e-3)
    pot_off = MassStep(600, 604, ufloat(-800.0, 0.5, "mass_step"), 800.0, ufloat(602.0, 0.5))
    lifted = scale_of(cell.loss, tell_apart([POT_ON, pot_off], empty_plan(), 60.0), default_channel(Role.MASS))
    assert parts(lifted.lost(100.0, 1000.0))["load_cell_creep"] < parts(cell.lost(100.0, 1000.0))["load_cell_creep"]


def test_the_draught_lifts_only_while_it_burns() -> None:
    cell = burning_from_300_to_600()
    assert cell.blaze(299.0) == 0.0
    assert cell.blaze(500.0) == pytest.approx(1.0, abs=0.02)
    assert cell.blaze(700.0) == pytest.approx(0.0, abs=0.02)
    assert parts(cell.lost(200.0, 500.0))["draught"] == pytest.approx(DRAUGHT_G, rel=0.03)
    # Before lighting and long after the flame nothing pulls; between two moments of full flame all pulls alike.
    assert parts(cell.lost(200.0, 800.0)).get("draught", 0.0) < 0.02
    assert parts(cell.lost(450.0, 550.0)).get("draught", 0.0) < 0.02


def test_hot_gas_lifts_at_most_what_it_displaces() -> None:
    # Ideal gas at 101.325 kPa (R 287.05 J/(kg K)): a litre at 800 °C in air of 20 °C.
    lift_g = 101.325 / 0.28705 * (1.0 / 293.15 - 1.0 / 1073.15)
    assert lift_g == pytest.approx(0.87, abs=0.01)
    assert 0.5 * lift_g < DRAUGHT_G < 1.5 * lift_g


def test_a_load_laid_on_between_adds_its_own_error() -> None:
    assert "mass_step" not in parts(scale().lost(100.0, 250.0))
    assert parts(scale().lost(250.0, 350.0))["mass_step"] == pytest.approx(0.5, rel=0.01)


def test_the_span_cancels_in_a_ratio() -> None:
    cell = scale(replace(default_channel(Role.MASS), u_drift_per_hour=0.0), u_mass_g=1e-9)
    ratio = cell.lost(100.0, 200.0) / cell.lost(100.0, 250.0)
    assert ratio.nominal_value == pytest.approx(2.0 / 3.0)
    assert ratio.std_dev < 1e-6


def test_the_weight_of_a_load_carries_the_span() -> None:
    weight = scale().load(POT_ON.size_g)
    assert weight.nominal_value == 800.0
    assert parts(weight) == pytest.approx({"mass_step": 0.5, "load_cell_span": 1.6})


def test_what_was_set_down_and_lifted_shares_its_span() -> None:
    cell = scale()
    water = cell.load(POT_ON.size_g) - cell.load(ufloat(780.0, 0.5, "mass_step"))
    assert parts(water)["load_cell_span"] == pytest.approx(0.002 * 20.0)


def test_a_zero_that_was_found_moved_has_moved_in_between() -> None:
    told = LoadCellPlan(
        zero_drift_g=ufloat(1.2, 0.2, "load_cell.zero_drift_g"),
        zero_drift_s=ufloat(960.0, 5.0, "load_cell.zero_drift_s"),
    )
    cell = scale_of(scale().loss, tell_apart([], empty_plan(), 60.0), default_channel(Role.MASS), told)
    # The cell's own 2 g an hour are 1.03 g in that time: of the 1.2 g found, 0.96 are believed.
    believed = 1.2 * 1.0667 / (1.0667 + 0.04)
    assert cell.zero_shift(0.0, 960.0).nominal_value == pytest.approx(believed, rel=1e-3)
    assert cell.zero_shift(0.0, 480.0).nominal_value == pytest.approx(believed / 2.0, rel=1e-3)
    # What the zero rose by hides a loss.
    assert cell.lost(0.0, 960.0).nominal_value == pytest.approx(0.15 * 959.5 + believed, abs=0.1)
    assert cell.zero_course_g(np.array([0.0, 480.0]))[1] == pytest.approx(believed / 2.0, rel=1e-3)
    for seconds in (240.0, 480.0, 960.0):
        sure = cell.u_wander_g(np.array([seconds]))[0]
        assert sure == pytest.approx(cell.zero_shift(0.0, seconds).std_dev, rel=1e-3)
        assert sure < scale().u_wander_g(np.array([seconds]))[0]


def test_a_drift_that_was_taken_off_leaves_its_own_uncertainty_and_no_other_drift() -> None:
    warm = replace(default_channel(Role.MASS), warmth=Warmth(0.3, 0.02, 0.1))
    cell_c = 20.0 + np.linspace(0.0, 10.0, N)
    column = Column(np.arange(N, dtype=np.float64) + 0.5, cell_c, np.full(N, 0.05), np.ones(N, dtype=np.int64))
    seconds = np.arange(N, dtype=np.float64) + 0.5
    level = np.ones(N)
    loss = LossRate(900.0 - RATE_G_S * seconds, RATE_G_S * level, 0.01 * level, 0.1 * level, 0.1 * level, 1e-5)
    loads = tell_apart([], empty_plan(), 60.0)
    lost = parts(scale_of(loss, loads, warm, cell_c=column).lost(100.0, 900.0))
    assert lost["load_cell_warmth"] == pytest.approx(0.02 * 8.0, rel=0.02)
    plain = parts(scale_of(loss, loads, warm).lost(100.0, 900.0))
    assert "load_cell_warmth" not in plain
    assert lost["load_cell_drift"] < 0.1 * plain["load_cell_drift"]
