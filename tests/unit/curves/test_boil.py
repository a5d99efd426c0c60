"""Boils on ramps that end at a known moment, seen through probes whose lag is integrated step by step."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from boil_fixture import BOILING_C, CLASS_2, GOOD, fine, ramp, seen, stall, steam
from column_fixture import column, seconds
from emberline.bench.air import Place, boiling_point
from emberline.curves.boil import WaterProbe, find_boils, judge
from emberline.curves.events import Event, EventKind
from emberline.curves.plateau import Plateau

Array = NDArray[np.float64]


def boils(
    reading: Array,
    probe: WaterProbe = GOOD,
    loss: Array | None = None,
    *,
    boiling_c: UFloat = BOILING_C,
    visits: list[tuple[float, float]] | None = None,
) -> tuple[Event, ...]:
    whole = [(0.0, float(len(reading)))]
    return find_boils(column(reading), whole if visits is None else visits, boiling_c, probe, loss)


@pytest.mark.parametrize("lag_s", [0.0, 1.5, 8.0])
@pytest.mark.parametrize("slope_k_min", [4.0, 8.0, 16.0])
def test_the_boil_is_where_the_water_reached_it_whatever_the_lag(lag_s: float, slope_k_min: float) -> None:
    reading = seen(ramp(slope_k_min=slope_k_min), lag_s)
    (boil,) = boils(reading, WaterProbe(0.5, lag_s, 0.25 * lag_s))
    assert boil.kind is EventKind.BOIL
    assert boil.confirmed
    assert abs(boil.t_s - 400.0) < 3.0
    assert abs(boil.t_s - 400.0) < 3.0 * boil.u_s
    assert boil.u_s < 5.0


def test_an_unremoved_lag_would_show() -> None:
    reading = seen(ramp(slope_k_min=12.0), 10.0)
    (right,) = boils(reading, WaterProbe(0.5, 10.0, 2.0))
    (wrong,) = boils(reading, WaterProbe(0.5, 0.0, 2.0))
    assert wrong.t_s - right.t_s > 5.0


def test_stated_uncertainties_cover_it() -> None:
    departures = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        boil_s = float(rng.uniform(250.0, 450.0))
        water_c = ramp(boil_s=boil_s, slope_k_min=float(rng.uniform(4.0, 16.0)))
        (boil,) = boils(seen(water_c, noise_k=float(rng.uniform(0.02, 0.3)), seed=seed))
        departures.append((boil.t_s - boil_s) / boil.u_s)
    assert np.sqrt(np.mean(np.square(departures))) < 1.3
    assert np.max(np.abs(departures)) < 3.0


def test_a_stall_well_below_is_never_a_boil() -> None:
    for ceiling_c in (80.0, 88.0, 93.0):
        for tau_s in (100.0, 300.0):
            assert boils(seen(stall(ceiling_c=ceiling_c, tau_s=tau_s)), CLASS_2) == ()
            assert boils(seen(stall(ceiling_c=ceiling_c, tau_s=tau_s)), GOOD) == ()


@pytest.mark.parametrize("tau_s", [60.0, 100.0, 150.0, 300.0])
@pytest.mark.parametrize("ceiling_c", [96.5, 97.5, 98.5])
@pytest.mark.parametrize("probe", [GOOD, CLASS_2])
def test_a_stall_within_the_probes_error_is_never_confirmed(probe: WaterProbe, ceiling_c: float, tau_s: float) -> None:
    for boil in boils(seen(stall(ceiling_c=ceiling_c, tau_s=tau_s)), probe):
        assert not boil.confirmed
        # What is announced at all has a time that somebody can use.
        assert boil.u_s < 120.0


def test_a_good_probe_tells_a_stall_two_kelvin_below() -> None:
    assert boils(seen(stall(ceiling_c=97.0)), WaterProbe(0.2, 1.5, 0.4), boiling_c=ufloat(99.3, 0.1)) == ()


@pytest.mark.parametrize("bias_k", [-2.0, 2.0])
def test_a_probe_two_kelvin_off_still_shows_the_boil(bias_k: float) -> None:
    reading = seen(ramp(), bias_k=bias_k)
    (boil,) = boils(reading, CLASS_2, steam(600, 400.0))
    assert abs(boil.t_s - 400.0) < 5.0
    assert boil.confirmed
    assert "2.0 K" in boil.evidence
    # Nothing but a thermometer that bad cannot tell.
    (alone,) = boils(reading, CLASS_2)
    assert not alone.confirmed
    assert "unconfirmed" in alone.evidence


def test_steam_can_overrule_a_thermometer_but_does_not_confirm() -> None:
    reading = seen(ramp(), bias_k=-3.0)[:470]
    assert boils(reading, WaterProbe(0.5, 1.5, 0.4)) == ()
    (boil,) = boils(reading, WaterProbe(0.5, 1.5, 0.4), steam(470, 400.0))
    assert not boil.confirmed
    assert "disagrees" in boil.evidence


def test_standing_still_for_minutes_can_overrule_it_too() -> None:
    (boil,) = boils(seen(ramp(), bias_k=-3.0), WaterProbe(0.5, 1.5, 0.4))
    assert not boil.confirmed
    assert "disagrees" in boil.evidence


def test_high_up_water_boils_cooler() -> None:
    # ISO 2533 and IAPWS R7-97: 3000 m, 70.1 kPa, 89.97 °C.
    place = boiling_point(Place(altitude_m=ufloat(3000.0, 10.0)))
    assert place.nominal_value == pytest.approx(89.97, abs=0.02)
    (boil,) = boils(seen(ramp(top_c=89.97)), GOOD, boiling_c=place)
    assert boil.confirmed
    assert abs(boil.t_s - 400.0) < 3.0
    # The same curve at the sea is a stall.
    assert boils(seen(ramp(top_c=89.97)), GOOD) == ()


@pytest.mark.parametrize("pause_c", [85.0, 92.0])
def test_a_lull_on_the_way_is_not_the_boil(pause_c: float) -> None:
    # The flame sinks when fuel is added: two minutes of standstill, then on.
    t = fine(900)
    first = 18.0 + 11.0 / 60.0 * t
    until = (pause_c - 18.0) / (11.0 / 60.0)
    water_c = np.minimum(np.where(t < until + 120.0, np.minimum(first, pause_c), first - 22.0), 99.3)
    boil_s = (99.3 + 22.0 - 18.0) / (11.0 / 60.0)
    (boil,) = boils(seen(np.asarray(water_c)), CLASS_2)
    assert abs(boil.t_s - boil_s) < 4.0


def test_a_lull_within_the_probes_error_is_not_the_boil() -> None:
    t = fine(900)
    water_c = np.interp(t, [0.0, 400.0, 500.0, 530.0], [18.0, 96.5, 96.5, 99.3])
    (boil,) = boils(seen(np.asarray(water_c)), CLASS_2)
    assert abs(boil.t_s - 530.0) < 6.0


def test_a_probe_at_the_hot_wall_sees_the_boil_above_the_boiling_point() -> None:
    (boil,) = boils(seen(ramp() + 5.0), CLASS_2)
    assert abs(boil.t_s - 400.0) < 5.0
    assert not boil.confirmed


def test_a_rest_below_is_unmasked_by_water_that_a_probe_at_the_wall_sees_above() -> None:
    # The fire is fed again after three minutes' rest, and the wall is hotter than the water.
    resting = np.interp(fine(1500), [0.0, 400.0, 580.0, 660.0], [20.0, 97.0, 97.0, BOILING_C.nominal_value + 4.5])
    (boil,) = boils(seen(np.asarray(resting)), CLASS_2)
    assert abs(boil.t_s - 660.0) < 8.0


def test_water_boils_once_a_visit() -> None:
    # The lid comes off, the boil stops for two minutes, and begins again.
    t = fine(900)
    water_c = np.asarray(np.interp(t, [0, 400, 600, 630, 720, 760, 900], [18, 99.3, 99.3, 94, 94, 99.3, 99.3]))
    (boil,) = boils(seen(water_c))
    assert abs(boil.t_s - 400.0) < 3.0


def test_each_filling_has_its_boil() -> None:
    t = fine(1200)
    water_c = np.asarray(np.interp(t, [0, 400, 500, 520, 900, 1200], [18, 99.3, 99.3, 17, 99.3, 99.3]))
    first, second = boils(seen(water_c), visits=[(0.0, 505.0), (520.0, 1200.0)])
    assert abs(first.t_s - 400.0) < 3.0
    assert abs(second.t_s - 900.0) < 3.0


def test_a_probe_that_comes_out_of_the_water_ends_no_ramp() -> None:
    t = fine(900)
    water_c = np.asarray(np.interp(t, [0, 300, 305, 900], [18, 78, 25, 24]))
    assert boils(seen(water_c), CLASS_2) == ()


def test_a_probe_in_hot_gas_passes_through_and_does_not_boil() -> None:
    t = fine(600)
    assert boils(seen(np.asarray(18.0 + 0.5 * t)), CLASS_2) == ()


def test_water_that_was_hot_from_the_start_has_no_ramp() -> None:
    assert boils(seen(np.full(len(fine(600)), 99.3))) == ()


def test_bubbles_that_knock_the_probe_do_not_move_the_boil() -> None:
    reading = seen(ramp(), noise_k=0.1)
    rng = np.random.default_rng(9)
    knocked = reading.copy()
    for second in rng.choice(np.arange(300, 400), 15, replace=False):
        knocked[second] -= rng.uniform(0.5, 3.0)
    (boil,) = boils(knocked)
    assert abs(boil.t_s - 400.0) < 4.0


@pytest.mark.parametrize("gap", [(330, 380), (405, 425)])
def test_a_gap_beside_the_boil_costs_little(gap: tuple[int, int]) -> None:
    reading = seen(ramp())
    reading[gap[0] : gap[1]] = np.nan
    (boil,) = boils(reading)
    assert abs(boil.t_s - 400.0) < max(5.0, 3.0 * boil.u_s)


@pytest.mark.parametrize("spacing", [2, 5])
def test_a_slow_logger_finds_it_too(spacing: int) -> None:
    reading = seen(ramp())
    sparse = np.full(600, np.nan)
    sparse[::spacing] = reading[::spacing]
    (boil,) = boils(sparse)
    assert abs(boil.t_s - 400.0) < 5.0


def test_a_boil_needs_to_be_held() -> None:
    reading = seen(ramp())
    assert boils(reading[:408]) == ()
    assert len(boils(reading[:440])) == 1
    live = find_boils(column(reading[:416]), [(0.0, 416.0)], BOILING_C, GOOD, hold_s=10)
    assert len(live) == 1
    assert abs(live[0].t_s - 400.0) < 5.0


def test_a_soft_knee_off_the_boiling_point_is_a_stall() -> None:
    # An exponential approach has slopes in proportion to the distance left: between 1.5 and 4 K below its ceiling it
    # has 2.75 / 11.5 = 0.24 of that between 8 and 15 K.
    sharp = Plateau(400.0, 1.0, BOILING_C.nominal_value - 1.6, 0.15, 0.9, 120.0)
    assert judge(sharp, BOILING_C, CLASS_2, None) is not None
    assert judge(replace(sharp, sharpness=0.24), BOILING_C, CLASS_2, None) is None
    # Steam that begins to leave outvotes the shape of the knee.
    assert judge(replace(sharp, sharpness=0.24), BOILING_C, CLASS_2, (0.15, 0.4)) is not None


def test_a_soft_knee_of_a_pot_that_loses_much_is_a_boil_where_it_stands_still() -> None:
    # A wide pot over a weak fire: steam takes two thirds of the heat before it boils. Below boiling, water follows
    # its fire.
    soft = Plateau(400.0, 10.0, BOILING_C.nominal_value - 0.7, 0.05, 0.31, 225.0)
    assert judge(soft, BOILING_C, CLASS_2, (0.36, 0.41)) is None
    boil = judge(replace(soft, wander_k=0.04), BOILING_C, CLASS_2, (0.36, 0.41))
    assert boil is not None
    assert "as still as boiling water" in boil.evidence
    assert judge(replace(soft, wander_k=0.25), BOILING_C, CLASS_2, (0.36, 0.41)) is None


def test_a_loss_that_fell_as_it_boiled_is_not_told_as_steam() -> None:
    bent = Plateau(400.0, 10.0, BOILING_C.nominal_value - 0.2, 0.05, 0.2, 225.0, wander_k=0.03)
    risen, fallen = (judge(bent, BOILING_C, CLASS_2, jump) for jump in ((0.5, 0.8), (0.77, 0.5)))
    assert risen is not None
    assert fallen is not None
    assert "mass loss rose from 30 to 48 g/min" in risen.evidence
    assert "as steam left" not in fallen.evidence


def test_judging_weighs_probe_place_knee_and_steam() -> None:
    plateau = Plateau(400.0, 1.0, 99.2, 0.18, 0.8, 200.0)
    sure = judge(plateau, BOILING_C, GOOD, None)
    assert sure is not None
    assert sure.confirmed
    weak = judge(plateau, BOILING_C, CLASS_2, None)
    assert weak is not None
    assert not weak.confirmed
    helped = judge(plateau, BOILING_C, CLASS_2, (0.15, 0.4))
    assert helped is not None
    assert helped.confirmed
    assert judge(plateau, BOILING_C - 10.0, GOOD, (0.15, 0.4)) is None


def heated(n: int, boil_s: float, ceiling_c: float, top_c: float = 99.3, from_c: float = 18.0) -> Array:
    """Newton's law of cooling with a constant source (Incropera and others, Fundamentals of Heat and Mass Transfer,
    lumped capacitance; from memory): T = ceiling - (ceiling - T0) exp(-t / tau), cut off where water boils."""
    tau_s = boil_s / np.log((ceiling_c - from_c) / (ceiling_c - top_c))
    return np.asarray(np.minimum(ceiling_c - (ceiling_c - from_c) * np.exp(-fine(n) / tau_s), top_c))


@pytest.mark.parametrize("ceiling_c", [115.0, 140.0, 250.0])
@pytest.mark.parametrize("boil_s", [250.0, 600.0])
def test_a_leaking_pot_boils_when_newtons_law_says(boil_s: float, ceiling_c: float) -> None:
    (boil,) = boils(seen(heated(900, boil_s, ceiling_c)))
    assert boil.confirmed
    assert abs(boil.t_s - boil_s) < min(5.0, 2.5 * boil.u_s)


def test_95_percent_intervals_cover_95_percent() -> None:
    # Newton's law under a fire that wanders, a probe whose lag is only roughly known, bubbles and drift.
    inside, errors = [], []
    for seed in range(60):
        rng = np.random.default_rng(1000 + seed)
        boil_s, tau_s = float(rng.uniform(300.0, 700.0)), float(rng.uniform(15.0, 80.0))
        fire = rng.normal(0.0, 1.0, 1000)
        for i in range(1, 1000):
            fire[i] = np.exp(-1.0 / tau_s) * fire[i - 1] + np.sqrt(1.0 - np.exp(-2.0 / tau_s)) * fire[i]
        warming = np.cumsum(1.0 + rng.uniform(0.02, 0.12) * fire)
        warming = np.maximum.accumulate(warming)
        at_boil = float(np.interp(boil_s, np.arange(1.0, 1001.0), warming))
        ceiling_c = float(rng.uniform(110.0, 250.0))
        rate = np.log((ceiling_c - 18.0) / (ceiling_c - 99.3)) / at_boil
        water_c = np.minimum(ceiling_c - (ceiling_c - 18.0) * np.exp(-rate * warming), 99.3)
        water_c = np.interp(fine(1000), np.arange(1.0, 1001.0), water_c)
        reading = seen(np.asarray(water_c), max(0.3, float(rng.normal(1.5, 0.4))), seed=seed)
        bubbles = np.convolve(rng.normal(0.0, rng.uniform(0.02, 0.3), 1004), np.full(5, 5.0**-0.5), "valid")
        reading = reading + np.where(np.arange(1000) > 0.7 * boil_s, bubbles, 0.0) * 0.5
        (boil,) = boils(reading)
        errors.append(abs(boil.t_s - boil_s))
        inside.append(errors[-1] < 1.96 * boil.u_s)
    assert np.mean(inside) > 0.92
    assert np.median(errors) < 1.5
    assert np.quantile(errors, 0.95) < 5.0


def test_a_plateau_that_drifts_by_half_a_kelvin_boiled_at_its_beginning() -> None:
    reading = seen(ramp(900, slope_k_min=8.0)) + np.interp(seconds(900), [430.0, 700.0], [0.0, 0.7])
    (boil,) = boils(reading, CLASS_2, steam(900, 400.0))
    assert abs(boil.t_s - 400.0) < 4.0


def test_a_pot_that_hovers_below_boils_when_it_gets_there() -> None:
    t = fine(1200)
    before = 98.5 - 80.5 * np.exp(-t / 120.0)
    water_c = np.minimum(np.where(t < 700.0, before, 98.5 + (t - 700.0) * 0.05), 99.3)
    (boil,) = boils(seen(np.asarray(water_c)), GOOD)
    assert abs(boil.t_s - 716.0) < max(6.0, 2.0 * boil.u_s)


@pytest.mark.parametrize("cold_k", [4.0, 12.0])
def test_cold_water_on_the_way_does_not_move_the_boil(cold_k: float) -> None:
    t = fine(900)
    water_c = np.minimum(18.0 + 11.0 / 60.0 * t - cold_k * np.clip((t - 400.0) / 2.0, 0.0, 1.0), 99.3)
    boil_s = (99.3 - 18.0 + cold_k) / (11.0 / 60.0)
    (boil,) = boils(seen(np.asarray(water_c)), GOOD)
    assert abs(boil.t_s - boil_s) < 3.0


def test_text_in_whole_kelvins_still_dates_the_boil() -> None:
    (boil,) = boils(seen(ramp(slope_k_min=10.0), code_k=1.0, noise_k=0.2), CLASS_2)
    assert abs(boil.t_s - 400.0) < min(8.0, 2.0 * boil.u_s)


def test_a_probe_of_15_s_lag_dates_it_within_what_its_lag_is_known_to() -> None:
    (boil,) = boils(seen(ramp(), 15.0), WaterProbe(0.5, 15.0, 3.0))
    assert abs(boil.t_s - 400.0) < 3.0
    assert boil.u_s > 3.0


@pytest.mark.parametrize("values", [[], [18.0], [18.0] * 40, [np.nan] * 300, [99.3] * 12])
def test_a_record_of_next_to_nothing_has_no_boil(values: list[float]) -> None:
    assert boils(np.array(values)) == ()
