"""Steps on curves whose changes of load are known."""

from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from column_fixture import column
from emberline.curves.mass_steps import MassStep, find_steps, masked

Array = NDArray[np.float64]
NOISE_G = 0.1


def burn(n: int = 600, *, rate_g_s: float = 0.15, noise_g: float = NOISE_G, seed: int = 0) -> Array:
    """A stove that loses mass evenly."""
    rng = np.random.default_rng(seed)
    return 900.0 - rate_g_s * np.arange(n) + rng.normal(0.0, noise_g, n)


def loaded(curve: Array, at: int, size_g: float, over_s: int = 2) -> Array:
    """Lay a load on over some seconds, evenly."""
    t = np.arange(len(curve))
    return curve + size_g * np.clip((t - at + 1) / over_s, 0.0, 1.0)


def gusts(n: int, sd_g: float, seed: int, tau_s: float = 4.0) -> Array:
    """Wind on a pot: noise that lasts some seconds."""
    rng = np.random.default_rng(seed)
    memory = np.exp(-1.0 / tau_s)
    push = np.zeros(n)
    for i in range(1, n):
        push[i] = memory * push[i - 1] + rng.normal(0.0, sd_g * (1.0 - memory**2) ** 0.5)
    return push


def only(curve: Array) -> MassStep:
    steps = find_steps(column(curve))
    assert len(steps) == 1, steps
    return steps[0]


@pytest.mark.parametrize("size_g", [3.0, 15.0, 62.0, 812.0, -34.0, -786.0])
def test_a_step_has_its_size_and_place(size_g: float) -> None:
    step = only(loaded(burn(seed=1), 300, size_g))
    assert step.size_g.nominal_value == pytest.approx(size_g, abs=4.0 * step.size_g.std_dev)
    assert step.size_g.std_dev < 0.3
    assert 296 <= step.start_s <= 301
    assert 300 <= step.end_s <= 306


def test_the_loss_of_the_burn_is_no_part_of_the_load() -> None:
    # 12 s of handling at 0.3 g/s: 3.6 g burn away meanwhile.
    step = only(loaded(burn(rate_g_s=0.3, seed=2), 300, 80.0, over_s=12))
    assert step.size_g.nominal_value == pytest.approx(80.0, abs=0.5)
    # Cold fuel may have slowed the fire at any moment of these 12 s.
    assert 0.3 < step.size_g.std_dev < 1.0


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("size_g", "over_s"), [(250.0, 4), (250.0, 10), (80.0, 20), (250.0, 20), (-60.0, 15)])
def test_what_is_poured_slowly_is_one_step(size_g: float, over_s: int, seed: int) -> None:
    step = only(loaded(burn(seed=seed), 300, size_g, over_s=over_s))
    assert step.size_g.nominal_value == pytest.approx(size_g, abs=max(0.5, 4.0 * step.size_g.std_dev))
    assert step.size_g.std_dev < 1.0
    assert step.start_s <= 303
    assert step.end_s >= 296 + over_s


def test_a_kink_of_the_slope_is_no_step() -> None:
    # Flameout: the loss sinks from 9 to 0.6 g/min within seconds, as sharp as it comes.
    t = np.arange(900.0)
    curve = 900.0 - np.where(t < 450, 0.15 * t, 67.5 + 0.01 * (t - 450)) + np.random.default_rng(4).normal(0, 0.1, 900)
    assert find_steps(column(curve)) == ()


def test_water_that_starts_to_boil_is_no_step() -> None:
    t = np.arange(900.0)
    curve = 1700.0 - np.where(t < 450, 0.15 * t, 67.5 + 0.6 * (t - 450)) + np.random.default_rng(5).normal(0, 0.1, 900)
    assert find_steps(column(curve)) == ()


@pytest.mark.parametrize("seed", range(4))
def test_an_even_burn_has_no_steps(seed: int) -> None:
    assert find_steps(column(burn(1500, seed=seed))) == ()


@pytest.mark.parametrize("seed", range(4))
def test_wind_makes_no_steps(seed: int) -> None:
    assert find_steps(column(burn(1500, seed=seed) + gusts(1500, 3.0, seed))) == ()


def test_wind_widens_the_size_of_a_pot() -> None:
    calm = only(loaded(burn(seed=6), 300, 800.0))
    windy = only(loaded(burn(seed=6) + gusts(600, 1.5, 7), 300, 800.0))
    assert windy.size_g.std_dev > 3.0 * calm.size_g.std_dev
    assert windy.size_g.nominal_value == pytest.approx(800.0, abs=4.0 * windy.size_g.std_dev)


def lively(n: int = 600, *, seed: int) -> Array:
    """A pot that boils over a lively fire: 0.9 g/s, by a pace that wanders."""
    rng = np.random.default_rng(seed)
    pace = 0.9 + np.cumsum(rng.normal(0.0, 0.01, n))
    return 3000.0 - np.cumsum(pace) + rng.normal(0.0, 0.15, n)


@pytest.mark.parametrize("seed", range(4))
def test_a_handful_of_fuel_beside_a_boiling_pot_is_no_gust(seed: int) -> None:
    step = only(loaded(lively(seed=30 + seed), 300, 14.0))
    assert step.size_g.nominal_value == pytest.approx(14.0, abs=2.0)


@pytest.mark.parametrize("seed", range(4))
def test_a_gust_that_comes_back_beside_a_boiling_pot_is_no_load(seed: int) -> None:
    gust = np.zeros(600)
    gust[300:306] = [5.0, 12.0, 11.0, 9.0, 6.0, 2.0]
    assert all(step.size_g.nominal_value == 0.0 for step in find_steps(column(lively(seed=40 + seed) + gust)))


@pytest.mark.parametrize("seed", range(3))
def test_what_is_poured_over_a_boiling_pot_has_its_size_and_moment(seed: int) -> None:
    # What falls on and what boils off meanwhile nearly cancel: the load only stands still.
    step = only(loaded(burn(rate_g_s=1.0, seed=seed), 300, 16.0, over_s=15))
    assert step.size_g.nominal_value == pytest.approx(16.0, abs=3.0 * step.size_g.std_dev)
    assert step.size_g.std_dev < 2.7
    assert step.moved_s.nominal_value == pytest.approx(307.0, abs=3.0)


@pytest.mark.parametrize("seed", range(6))
def test_a_gust_that_comes_at_once_and_dies_away_slowly_is_no_load(seed: int) -> None:
    rng = np.random.default_rng(seed)
    pressed = np.arange(300, 336)
    curve = column(burn(rate_g_s=0.16, noise_g=0.05, seed=seed))
    curve.value[pressed] += np.interp(pressed, (300, 304, 318, 336), (2.0, 8.0, 6.0, 0.0)) + gusts(36, 0.5, seed, 2.0)
    curve.spread[:] = rng.uniform(0.05, 0.2, len(curve.spread))
    curve.spread[pressed] = rng.uniform(0.3, 1.5, len(pressed))
    assert [step for step in find_steps(curve) if step.size_g.nominal_value > 2.5] == []


@pytest.mark.parametrize("seed", range(4))
def test_a_stove_that_swings_after_a_push_is_not_fed(seed: int) -> None:
    # Up to eight loads were found in these strokes, 29 g of fuel in all.
    t = np.arange(700)
    swing = np.where((t >= 300) & (t < 390), 0.8 * np.sin(2.0 * np.pi * (t - 300) / 11.0), 0.0)
    curve = burn(700, rate_g_s=0.13, noise_g=0.06, seed=seed) + swing
    assert sum(step.size_g.nominal_value for step in find_steps(column(curve))) == pytest.approx(0.0, abs=1.0)


def swaying(n: int, from_s: int, to_s: int, size_g: float) -> Array:
    """A lead that pulls within three seconds, sways, and lets go at once."""
    t = np.arange(n, dtype=float)
    pull = size_g * np.clip((t - from_s + 1) / 3.0, 0.0, 1.0) * (t < to_s)
    return pull + np.where(pull != 0.0, 0.13 * size_g * np.sin(2.0 * np.pi * (t - from_s) / 9.0), 0.0)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("size_g", [-12.0, 11.0])
def test_a_lead_that_sways_between_its_pull_and_its_release_leaves_no_load(size_g: float, seed: int) -> None:
    curve = burn(900, rate_g_s=0.1, noise_g=0.1, seed=50 + seed) + swaying(900, 400, 446, size_g)
    left_g = sum(step.size_g for step in find_steps(column(curve)))
    assert abs(left_g.nominal_value) < max(0.5, 3.0 * left_g.std_dev)


@pytest.mark.parametrize("seed", range(4))
def test_fuel_that_stays_after_a_sway_is_a_load(seed: int) -> None:
    curve = loaded(burn(900, rate_g_s=0.1, seed=60 + seed), 400, 24.0) + swaying(900, 406, 446, 5.0)
    assert sum(step.size_g for step in find_steps(column(curve))).nominal_value == pytest.approx(24.0, abs=2.5)


@pytest.mark.parametrize("seed", range(4))
def test_small_loads_one_soon_after_another_are_no_swing_where_they_stay(seed: int) -> None:
    curve = burn(rate_g_s=0.13, noise_g=0.06, seed=seed)
    for at in (300, 315, 330, 345):
        curve = loaded(curve, at, 4.0)
    assert sum(step.size_g.nominal_value for step in find_steps(column(curve))) == pytest.approx(16.0, abs=1.0)


def test_spikes_of_thousands_of_grams_are_neither_steps_nor_loss() -> None:
    curve = burn(seed=8)
    spoilt = curve.copy()
    spoilt[[100, 250, 251, 400]] = [8388.6, -4000.0, -4000.0, 3000.0]
    assert find_steps(column(spoilt)) == ()
    left = masked(column(spoilt), ())
    assert np.isnan(left[[100, 250, 251, 400]]).all()
    np.testing.assert_array_equal(np.delete(left, [100, 250, 251, 400]), np.delete(curve, [100, 250, 251, 400]))


def test_a_load_laid_on_while_nothing_was_read_is_found() -> None:
    curve = loaded(burn(seed=9), 300, 120.0)
    curve[280:325] = np.nan
    step = only(curve)
    assert step.size_g.nominal_value == pytest.approx(120.0, abs=1.0)
    assert step.start_s <= 280
    assert step.end_s >= 325


def test_a_gap_hides_no_load_that_was_not_there() -> None:
    curve = burn(seed=10)
    curve[200:290] = np.nan
    assert find_steps(column(curve)) == ()


def test_a_burn_that_slows_within_a_gap_is_no_step() -> None:
    t = np.arange(600.0)
    curve = 900.0 - np.where(t < 300, 0.15 * t, 45.0 + 0.02 * (t - 300)) + np.random.default_rng(11).normal(0, 0.1, 600)
    curve[270:330] = np.nan
    assert find_steps(column(curve)) == ()


def test_a_hand_on_the_pot_leaves_no_load_but_is_kept_out_of_the_burn() -> None:
    curve = burn(seed=12)
    curve[300:312] += [40.0, 180.0, 150.0, 220.0, 90.0, 160.0, 200.0, 130.0, 170.0, 80.0, 120.0, 30.0]
    step = only(curve)
    assert abs(step.size_g.nominal_value) < max(0.5, 4.0 * step.size_g.std_dev)
    assert step.excursion_g == pytest.approx(220.0, abs=5.0)
    assert step.start_s <= 300
    assert step.end_s >= 312


def test_two_handlings_half_a_minute_apart_are_told_apart() -> None:
    first, second = find_steps(column(loaded(loaded(burn(seed=13), 300, -105.0), 330, 105.0)))
    assert first.size_g.nominal_value == pytest.approx(-105.0, abs=0.5)
    assert second.size_g.nominal_value == pytest.approx(105.0, abs=0.5)
    assert first.end_s < second.start_s


def test_handlings_without_calm_between_them_are_one() -> None:
    step = only(loaded(loaded(burn(seed=14), 300, 30.0), 303, 25.0))
    assert step.size_g.nominal_value == pytest.approx(55.0, abs=0.5)


@pytest.mark.parametrize("spacing", [3, 5])
def test_a_logger_that_speaks_every_few_seconds_is_enough(spacing: int) -> None:
    curve = loaded(burn(1200, seed=15), 600, 850.0)
    sparse = np.full(1200, np.nan)
    sparse[::spacing] = curve[::spacing]
    step = only(sparse)
    assert step.size_g.nominal_value == pytest.approx(850.0, abs=1.0)
    assert abs(step.t_s - 600) <= 3 * spacing


@pytest.mark.parametrize("code_g", [0.5, 1.0, 2.0])
def test_a_balance_of_whole_grams_makes_no_steps_of_its_own(code_g: float) -> None:
    even = np.round(burn(900, noise_g=0.02, seed=21) / code_g) * code_g
    assert find_steps(column(even)) == ()
    step = only(np.round(loaded(burn(900, noise_g=0.02, seed=22), 450, 812.0) / code_g) * code_g)
    assert step.size_g.nominal_value == pytest.approx(812.0, abs=1.5 * code_g)


def test_spans_of_the_handling_do_not_overlap() -> None:
    steps = find_steps(column(loaded(loaded(loaded(burn(seed=23), 150, 800.0), 300, 60.0), 330, -30.0)))
    assert [round(step.size_g.nominal_value) for step in steps] == [800, 60, -30]
    assert all(before.end_s <= after.start_s for before, after in pairwise(steps))


@pytest.mark.parametrize("gap", [(3, 30), (8, 40), (560, 590), (570, 597)])
def test_a_gap_at_either_end_of_a_slow_record_is_stood(gap: tuple[int, int]) -> None:
    sparse = np.full(600, np.nan)
    sparse[::5] = burn(seed=24)[::5]
    sparse[gap[0] : gap[1]] = np.nan
    assert find_steps(column(sparse)) == ()


def test_a_curve_without_any_noise_has_sizes_all_the_same() -> None:
    # Curves that a program made up have no noise at all.
    step = only(np.repeat([3.0, -500.0], 80))
    assert step.size_g.nominal_value == pytest.approx(-503.0)
    assert step.size_g.std_dev > 0.0


def test_stated_sizes_hold_what_they_promise() -> None:
    rng = np.random.default_rng(16)
    departures = []
    for seed in range(40):
        size_g = float(rng.choice([-1.0, 1.0]) * rng.uniform(10.0, 900.0))
        step = only(loaded(burn(240, rate_g_s=float(rng.uniform(0.02, 0.25)), seed=seed), 120, size_g))
        departures.append((step.size_g.nominal_value - size_g) / step.size_g.std_dev)
    assert np.sqrt(np.mean(np.square(departures))) < 1.5
    assert np.max(np.abs(departures)) < 4.0


def test_masking_leaves_what_burnt() -> None:
    bare = burn(seed=17)
    mass = column(loaded(loaded(bare, 200, 812.0), 420, -786.0))
    steps = find_steps(mass)
    left = masked(mass, steps)
    known = np.isfinite(left)
    for step in steps:
        assert not known[step.start_s : step.end_s].any()
    assert known.sum() > 570
    assert np.max(np.abs(left - bare)[known]) < 0.5


def test_masking_leaves_the_column_as_it_was() -> None:
    mass = column(loaded(burn(seed=18), 300, 100.0))
    before = mass.value.copy()
    masked(mass, find_steps(mass))
    np.testing.assert_array_equal(mass.value, before)


def test_a_step_moves_with_the_start_of_its_record() -> None:
    step = only(loaded(burn(seed=19), 300, 100.0))
    moved = step.earlier(250)
    assert (moved.start_s, moved.end_s) == (step.start_s - 250, step.end_s - 250)
    assert step.earlier(1000).start_s == 0
    assert step.t_s == step.end_s
    assert step.sized


@pytest.mark.parametrize("values", [[], [5.0], [5.0] * 30, [np.nan] * 60, [1.0, np.nan, 900.0]])
def test_a_record_of_next_to_nothing_has_no_steps(values: list[float]) -> None:
    assert find_steps(column(values)) == ()
