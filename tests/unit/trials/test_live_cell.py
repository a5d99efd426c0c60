"""A load cell followed second by second, against the same record read whole."""

import pickle

import numpy as np
import pytest
from numpy.typing import NDArray

from column_fixture import column
from emberline.curves.burning_rate import smooth
from emberline.curves.grid import Column
from emberline.curves.mass_steps import find_steps, masked
from emberline.trials import live_cell
from emberline.trials.live_cell import REMEASURE_S, LiveCell, newest_change_g

Array = NDArray[np.float64]


def record(n: int = 900, *, loads: dict[int, float] | None = None, noise_g: float = 0.1, seed: int = 1) -> Column:
    """A fire that catches at 100 s, burns 9 g/min and glows from 700 s on, with loads put on or taken off."""
    t = np.arange(n, dtype=np.float64)
    rate = np.interp(t, [0, 100, 160, 680, 720, n], [0, 0, 0.15, 0.15, 0.012, 0.012])
    mass = 1200.0 - np.cumsum(rate) + np.random.default_rng(seed).normal(0.0, noise_g, n)
    for second, load_g in (loads or {}).items():
        mass += np.where(t >= second, load_g, 0.0)
    one = column(mass)
    # Cells flicker within a second; without any spread a column would pass for stuck.
    return Column(one.t_s, one.value, np.full(n, noise_g), one.count)


def follow(mass: Column, cell: LiveCell | None = None, since: int = 1) -> LiveCell:
    cell = cell if cell is not None else LiveCell()
    for now in range(since, len(mass) + 1):
        cell.look(mass.between(0, now), now)
    return cell


LOADS = {250: 800.0, 420: 60.0, 560: -790.0}


def test_steps_found_on_the_way_are_those_found_looking_back() -> None:
    mass = record(loads=LOADS)
    live, whole = follow(mass).steps, find_steps(mass)
    assert len(live) == len(whole) == 3
    for one, other in zip(live, whole, strict=True):
        assert abs(one.t_s - other.t_s) <= 2.0
        assert abs((one.size_g - other.size_g).nominal_value) < 0.5


def test_a_step_is_known_some_seconds_after_it_settled() -> None:
    mass, cell = record(loads={250: 800.0}), LiveCell()
    known = next(now for now in range(1, 901) if cell.look(mass.between(0, now), now))
    assert 255 < known < 268


def test_a_slow_pour_is_found_though_no_second_stands_out() -> None:
    t = np.arange(900.0)
    mass = record()
    poured = Column(mass.t_s, mass.value + np.clip((t - 400.0) * 1.5, 0.0, 30.0), mass.spread, mass.count)
    steps = follow(poured).steps
    assert sum(step.size_g.nominal_value for step in steps) == pytest.approx(30.0, abs=1.5)


@pytest.mark.parametrize("loads", [{}, LOADS])
def test_the_rate_is_near_that_of_the_whole_record(loads: dict[int, float]) -> None:
    mass = record(loads=loads)
    live = follow(mass).loss(mass, 900)
    whole = smooth(masked(mass, find_steps(mass)))
    settled = slice(20, 840)
    assert np.max(np.abs(live.rate_g_s - whole.rate_g_s)[settled]) < 0.03
    assert np.sqrt(np.mean((live.rate_g_s - whole.rate_g_s)[settled] ** 2)) < 0.008
    assert live.rate_g_s[-1] == pytest.approx(0.012, abs=4.0 * live.u_rate_g_s[-1])


def test_a_young_step_is_measured_again_and_an_old_one_stands() -> None:
    mass, cell = record(loads={250: 800.0}), LiveCell()
    changes = [now for now in range(1, 901) if cell.look(mass.between(0, now), now)]
    assert changes[-1] < 250 + 2 * REMEASURE_S


def test_a_kept_state_goes_on_as_if_nothing_had_been() -> None:
    mass = record(loads=LOADS)
    half = follow(mass.between(0, 430))
    resumed = follow(mass, pickle.loads(pickle.dumps(half)), since=431)  # noqa: S301 our own bytes
    whole = follow(mass)
    assert [(s.start_s, s.end_s, s.size_g.nominal_value) for s in resumed.steps] == [
        (s.start_s, s.end_s, s.size_g.nominal_value) for s in whole.steps
    ]
    assert np.array_equal(resumed.loss(mass, 900).rate_g_s, whole.loss(mass, 900).rate_g_s)


@pytest.mark.parametrize("seed", range(3))
def test_wind_is_no_load(seed: int) -> None:
    rng = np.random.default_rng(seed)
    push = np.zeros(900)
    for i in range(1, 900):
        push[i] = 0.8 * push[i - 1] + rng.normal(0.0, 1.0)
    mass = record(seed=seed)
    assert follow(Column(mass.t_s, mass.value + push, mass.spread, mass.count)).steps == []


def test_silence_and_a_late_channel_are_followed() -> None:
    silent = column(np.full(300, np.nan))
    assert follow(silent).steps == []
    cell, mass = LiveCell(), record()
    assert follow(mass, cell, since=400).steps == []
    assert cell.loss(mass, 900).rate_g_s[600] == pytest.approx(0.15, abs=0.02)


@pytest.mark.parametrize("seed", range(4))
def test_smoothing_that_waits_until_somebody_asks_finds_to_the_bit_what_it_finds_at_once(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(live_cell, "MOST_DUE", [20, 1_000][seed % 2])
    rng = np.random.default_rng(seed)
    mass = record(340, loads=LOADS if seed < 2 else None, seed=seed)
    at_once, late = LiveCell(), LiveCell()
    for now in range(1, len(mass) + 1):
        so_far = mass.between(0, now)
        assert at_once.look(so_far, now) == late.look(so_far, now)
        if rng.random() < 0.3:
            at_once.loss(so_far, now)
            late.mark(now)
        if now % 111 == 0 and seed == 3:
            late.loss(so_far, now)
            at_once.loss(so_far, now)
    one, other = at_once.loss(mass, len(mass)), late.loss(mass, len(mass))
    for part in ("mass_g", "rate_g_s", "u_rate_g_s", "u_mass_g", "noise_g"):
        np.testing.assert_array_equal(getattr(one, part), getattr(other, part))
    assert one.wander == other.wander


@pytest.mark.parametrize(
    ("moved_s", "by_g", "pace_g_s"), [(690.0, 40.0, 0.1), (690.0, -60.0, 0.5), (600.0, 40.0, 0.5), (690.0, 0.0, 0.5)]
)
def test_what_has_just_been_laid_on_or_taken_off_shows_beside_the_pace(
    moved_s: float, by_g: float, pace_g_s: float
) -> None:
    t = np.arange(700) + 0.5
    noise = np.random.default_rng(5).normal(0.0, 0.2, 700)
    mass = column(1500.0 - pace_g_s * t + by_g * (t > moved_s) + noise)
    assert newest_change_g(mass, 700) == pytest.approx(by_g if moved_s > 650.0 else 0.0, abs=1.5)


def test_nothing_has_changed_where_no_load_cell_tells() -> None:
    assert newest_change_g(None, 700) == 0.0
    assert newest_change_g(column(np.full(700, np.nan)), 700) == 0.0
