"""Reading whole records of which everything is known."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import ufloat

from emberline.bench.air import Place
from emberline.bench.channels import Channel, Role, default_channel
from emberline.bench.plan import Plan, empty_plan
from emberline.bench.samples import Curve
from emberline.curves.events import Event, EventKind
from emberline.curves.grid import grid_of
from emberline.curves.words import Word
from emberline.trials.reading import Reading, _boils_by_words, _on_pots_cell, read_record
from stove_fixture import Stove

LIFTED = Stove()


def channels(curves: dict[Role, Curve]) -> dict[Role, Channel]:
    return {role: default_channel(role) for role in curves}


def read(curves: dict[Role, Curve], plan: Plan, *words: Word) -> Reading:
    return read_record(grid_of(curves), channels(curves), plan, words=words)


def without(missing: Role) -> dict[Role, Curve]:
    """Return what a bench without one of its channels delivers."""
    curves: dict[Role, Curve] = LIFTED.curves()
    del curves[missing]
    return curves


@cache
def usual() -> Reading:
    return read(LIFTED.curves(), LIFTED.plan())


def times(reading: Reading) -> dict[str, float]:
    return {event.kind.value: event.t_s for event in reading.events}


def test_a_whole_burn_is_read_in_order_of_time() -> None:
    found = times(usual())
    assert list(found) == ["lit", "pot_on", "boil", "pot_off", "flameout"]
    true = (LIFTED.lit_s, LIFTED.pot_on_s, LIFTED.boil_s, LIFTED.pot_off_s, LIFTED.flameout_s)
    for (kind, t_s), true_s in zip(found.items(), true, strict=True):
        assert true_s is not None
        assert abs(t_s - true_s) < 5.0, kind


def test_steam_is_taken_off_the_fuel() -> None:
    reading = usual()
    assert reading.fuel is not None
    assert reading.scale is not None
    boils = slice(600, 780)
    assert np.mean(reading.scale.loss.rate_g_s[boils]) > 2.0 * 0.16
    assert np.mean(reading.fuel.rate_g_s[boils]) == pytest.approx(0.16, rel=0.08)


def test_steam_that_ends_is_no_flameout() -> None:
    # A pot that boils hard and is lifted: the loss on the cell falls to a third at once.
    assert abs(times(usual())["flameout"] - LIFTED.flameout_s) < 10.0
    assert abs(times(read(without(Role.FLAME), LIFTED.plan()))["flameout"] - LIFTED.flameout_s) < 30.0


@pytest.mark.parametrize("kind", [EventKind.LIT, EventKind.BOIL, EventKind.FLAMEOUT])
def test_a_persons_word_takes_the_place_of_the_detectors(kind: EventKind) -> None:
    said = Event(kind, times(usual())[kind.value] + 7.0, 1.0, "button", by_person=True)
    reading = read(LIFTED.curves(), LIFTED.plan(), Word(kind, None, said))
    assert [event for event in reading.events if event.kind is kind] == [said]
    assert len(reading.events) == len(usual().events)


@pytest.mark.parametrize("kind", ["lit", "pot_on", "boil", "pot_off", "flameout"])
def test_what_a_person_deletes_stays_deleted(kind: str) -> None:
    reading = read(LIFTED.curves(), LIFTED.plan(), Word(EventKind(kind), times(usual())[kind], None))
    assert kind not in times(reading)


@pytest.mark.parametrize("kind", ["lit", "pot_on", "boil", "pot_off", "flameout"])
def test_what_a_person_moves_is_there_and_nowhere_else(kind: str) -> None:
    found_s = times(usual())[kind]
    moved = Event(EventKind(kind), found_s + 4.0, 1.0, "set by Ana", by_person=True)
    reading = read(LIFTED.curves(), LIFTED.plan(), Word(moved.kind, found_s, moved))
    (event,) = [event for event in reading.events if event.kind is moved.kind]
    assert (event.t_s, event.u_s, event.by_person) == (found_s + 4.0, 1.0, True)
    assert list(times(reading)) == list(times(usual()))
    if event.size_g is not None:
        assert (event.kind, abs(event.size_g.nominal_value) > 500.0) in (
            (EventKind.POT_ON, True),
            (EventKind.POT_OFF, True),
        )
        window = reading.courses[0].window
        assert event.t_s == pytest.approx(window[0] if event.kind is EventKind.POT_ON else window[1])


def test_a_load_that_a_person_denies_is_still_a_load() -> None:
    found_s = times(usual())["pot_on"]
    reading = read(LIFTED.curves(), LIFTED.plan(), Word(EventKind.POT_ON, found_s, None))
    (step, *_) = [event for event in reading.events if event.kind is EventKind.STEP]
    assert step.t_s == found_s
    assert "a person says that it was no pot on" in step.evidence
    gone = read(
        LIFTED.curves(), LIFTED.plan(), Word(EventKind.POT_ON, found_s, None), Word(EventKind.STEP, found_s, None)
    )
    assert found_s not in [event.t_s for event in gone.events]
    assert gone.scale is not None
    # Whatever it is called, it is masked: nothing burns by 800 g in a second.
    assert np.nanmax(np.abs(gone.scale.loss.rate_g_s)) < 2.0


def test_a_pot_is_known_without_a_load_cell_once_a_person_says_so() -> None:
    assert LIFTED.pot_on_s is not None
    on = Event(EventKind.POT_ON, LIFTED.pot_on_s, 1.0, "set by Ana", by_person=True)
    reading = read(without(Role.MASS), LIFTED.plan(), Word(EventKind.POT_ON, None, on))
    (event,) = [event for event in reading.events if event.kind is EventKind.POT_ON]
    assert event.t_s == LIFTED.pot_on_s
    assert "the load cell shows nothing then" in event.evidence


def test_a_boil_that_a_person_names_is_the_only_one_of_its_stay() -> None:
    early = Event(EventKind.BOIL, times(usual())["pot_on"] + 20.0, 1.0, "set by Ana", by_person=True)
    reading = read(LIFTED.curves(), LIFTED.plan(), Word(EventKind.BOIL, None, early))
    assert [event.t_s for event in reading.events if event.kind is EventKind.BOIL] == [early.t_s]


def test_a_boil_that_a_person_adds_leaves_that_of_another_stay_alone() -> None:
    found = [Event(EventKind.BOIL, 500.0, 2.0, "curve"), Event(EventKind.BOIL, 900.0, 2.0, "curve")]
    windows = [(200.0, 560.0), (600.0, 760.0), (800.0, 1000.0)]
    added = Event(EventKind.BOIL, 700.0, 1.0, "set by Ana", by_person=True)
    moved = Event(EventKind.BOIL, 920.0, 1.0, "set by Ben", by_person=True)
    words = (Word(EventKind.BOIL, None, added), Word(EventKind.BOIL, 900.0, moved))
    assert sorted(event.t_s for event in _boils_by_words(found, windows, words)) == [500.0, 700.0, 920.0]
    second = Event(EventKind.BOIL, 520.0, 1.0, "set by Ana", by_person=True)
    assert _boils_by_words(found[:1], windows, (Word(EventKind.BOIL, None, second),)) == [second]
    assert _boils_by_words(found[:1], windows, (Word(EventKind.BOIL, 500.0, None),)) == []


def test_a_step_that_only_the_pots_own_cell_saw_can_be_taken_back() -> None:
    gone = Word(EventKind.STEP, 300.0, None)
    pot = Word(EventKind.POT_OFF, 800.0, None)
    moved = Word(EventKind.STEP, 310.0, Event(EventKind.STEP, 320.0, 1.0, "set by Ana", by_person=True))
    fed = Word(EventKind.REFUEL, 400.0, None)
    assert _on_pots_cell((gone, moved, fed, pot)) == [pot, gone, Word(EventKind.STEP, 310.0, None)]


def test_remarks_are_kept_among_the_events() -> None:
    remark = Event(EventKind.NOTE, 400.0, 0.0, "wind got up", by_person=True)
    reading = read(LIFTED.curves(), LIFTED.plan(), Word(EventKind.NOTE, None, remark))
    assert remark in reading.events
    assert [event.t_s for event in reading.events] == sorted(event.t_s for event in reading.events)


def test_the_weight_of_a_load_carries_the_cells_span() -> None:
    reading = usual()
    pot = next(event for event in reading.events if event.kind is EventKind.POT_ON)
    size = reading.true_size(pot)
    assert size is not None
    assert size.nominal_value == pytest.approx(800.0, abs=0.5)
    # 0.2 % of span, as assumed.
    assert size.std_dev == pytest.approx(1.6, rel=0.05)
    assert reading.true_size(reading.events[0]) is None


def test_a_measured_pressure_takes_precedence_over_the_plan() -> None:
    curves = LIFTED.curves()
    t_s = np.arange(0.0, 1500.0, 10.0)
    curves[Role.PRESSURE] = Curve(t_s, np.full(len(t_s), 79_500.0))
    reading = read(curves, LIFTED.plan())
    # IAPWS-IF97: 93.32 °C at 79.50 kPa.
    assert reading.boiling_point_c.nominal_value == pytest.approx(93.32, abs=0.02)
    curves[Role.PRESSURE] = Curve(t_s, np.full(len(t_s), np.nan))
    assert read(curves, LIFTED.plan()).boiling_point_c.nominal_value == pytest.approx(99.31, abs=0.02)


def test_a_place_nobody_knows_leaves_a_wide_boiling_point() -> None:
    reading = read({Role.MASS: LIFTED.curves()[Role.MASS]}, empty_plan())
    assert reading.boiling_point_c.std_dev > 0.6


def heated_c(t_s: NDArray[np.float64], top_c: float, *, boils: bool) -> NDArray[np.float64]:
    """Water from 18 °C that warms by 11 K/min until it boils, or ever slower toward a temperature that losses set."""
    warm = np.minimum(18.0 + 11.0 / 60.0 * t_s, top_c) if boils else top_c - (top_c - 18.0) * np.exp(-t_s / 240.0)
    return warm + np.random.default_rng(4).normal(0.0, 0.05, len(t_s))


def test_water_boils_high_above_the_sea_even_if_nobody_says_so() -> None:
    # 2,800 m: 90.6 °C (IAPWS-IF97 at the standard atmosphere's 71.9 kPa).
    t_s = np.arange(0.25, 1200.0, 0.25)
    reading = read({Role.WATER: Curve(t_s, heated_c(t_s, 90.6, boils=True))}, empty_plan())
    (boil,) = reading.events
    assert boil.kind is EventKind.BOIL
    assert abs(boil.t_s - (90.6 - 18.0) / 11.0 * 60.0) < 4.0
    assert not boil.confirmed
    assert reading.boiling_point_c.std_dev > 2.0
    assert "neither pressure nor altitude" in reading.place.basis
    known = Plan(place=Place(altitude_m=ufloat(200.0, 10.0)))
    assert read({Role.WATER: Curve(t_s, heated_c(t_s, 90.6, boils=True))}, known).events == ()


def test_water_that_stands_still_where_losses_eat_its_heat_boils_at_no_place() -> None:
    t_s = np.arange(0.25, 2400.0, 0.25)
    reading = read({Role.WATER: Curve(t_s, heated_c(t_s, 91.0, boils=False))}, empty_plan())
    assert reading.events == ()
    assert reading.place.basis == ""


def test_without_a_load_cell_the_water_and_the_flame_tell_what_they_can() -> None:
    reading = read(without(Role.MASS), LIFTED.plan())
    found = times(reading)
    assert list(found) == ["lit", "boil", "flameout"]
    assert abs(found["boil"] - LIFTED.boil_s) < 5.0
    assert abs(found["flameout"] - LIFTED.flameout_s) < 10.0
    assert (reading.scale, reading.fuel, reading.courses) == (None, None, ())


def test_two_fillings_without_a_load_cell_are_told_by_the_temperature() -> None:
    t_s = np.arange(0.25, 1200.0, 0.25)
    water = np.interp(t_s, [0, 400, 500, 520, 900, 1200], [18, 99.3, 99.3, 17, 99.3, 99.3])
    water = water + np.random.default_rng(2).normal(0.0, 0.05, len(t_s))
    plan = Plan(place=Place(altitude_m=ufloat(200.0, 10.0)))
    reading = read({Role.WATER: Curve(t_s, water)}, plan)
    boils = [event.t_s for event in reading.events]
    assert len(boils) == 2
    assert boils == pytest.approx([400.0, 900.0], abs=4.0)


def test_with_the_load_cell_alone_the_burn_is_read_all_the_same() -> None:
    stove = Stove(pot_on_s=None)
    reading = read({Role.MASS: stove.curves()[Role.MASS]}, stove.plan())
    found = times(reading)
    assert list(found) == ["lit", "flameout"]
    assert abs(found["lit"] - stove.lit_s) < 15.0
    assert abs(found["flameout"] - stove.flameout_s) < 20.0
    assert not reading.events[-1].confirmed


def test_a_pot_that_stood_there_all_the_time_is_known_by_its_water() -> None:
    stove = Stove(pot_on_s=-5.0, pot_off_s=None)
    reading = read(stove.curves(), stove.plan())
    assert "boil" in times(reading)
    (course,) = reading.courses
    assert course.window == (0.0, float(stove.n))
    cold = Stove(pot_on_s=None)
    assert read(cold.curves(), stove.plan()).courses == ()


def test_a_planned_pot_whose_steam_the_cell_never_saw_stood_beside_it() -> None:
    stove, beside = Stove(pot_on_s=-5.0, pot_off_s=None), Stove(pot_on_s=None)
    curves = {**stove.curves(), Role.MASS: beside.curves()[Role.MASS]}
    reading = read(curves, stove.plan())
    assert "boil" in times(reading)
    assert "pot_on" not in times(reading)
    assert reading.courses == ()
    # Whatever the boil shows: more than the fuel that was put in has left, so that water did.
    little = replace(stove.plan().fuel, mass_g=ufloat(0.6 * stove.fuel_g, 0.5))
    assert read(curves, replace(stove.plan(), fuel=little)).courses != ()
    # A person who saw it there is believed.
    words = Word(EventKind.POT_ON, None, Event(EventKind.POT_ON, 0.0, 1.0, "seen", None, True, None, True))
    assert read(curves, stove.plan(), words).courses != ()


def test_a_second_cell_under_the_pot_is_read_for_itself() -> None:
    stove = Stove(pot_on_s=None, n=1200, flameout_s=900.0)
    potted = Stove(n=1200, flameout_s=900.0, pot_off_s=700.0)
    curves = stove.curves()
    t_s = curves[Role.MASS].t_s
    stands = (t_s > 200.0) & (t_s < 700.0)
    water_left = potted.water_g - np.cumsum(potted.water_rate_g_s)
    reading_g = np.where(stands, potted.tare_g + water_left[t_s.astype(int)], 0.0)
    curves[Role.POT_MASS] = Curve(t_s, reading_g + np.random.default_rng(5).normal(0.0, 0.05, len(t_s)))
    curves[Role.WATER] = potted.curves()[Role.WATER]
    reading = read(curves, potted.plan())
    assert list(times(reading)) == ["lit", "pot_on", "boil", "pot_off", "flameout"]
    (course,) = reading.courses
    lost = course.lost_by(1200.0)
    assert abs(lost.nominal_value - potted.evaporated_g()) < 3.0 * lost.std_dev
    pot = next(event for event in reading.events if event.kind is EventKind.POT_ON)
    size = reading.true_size(pot)
    assert size is not None
    assert size.nominal_value == pytest.approx(800.0, abs=1.0)


def test_a_record_that_began_mid_burn_has_no_lighting_and_takes_refuels() -> None:
    t_s = np.arange(0.25, 900.0, 0.25)
    burnt = np.interp(t_s, [0, 700, 760, 900], [0, 105, 110, 112])
    mass = 900.0 - burnt + np.where(t_s > 300.0, 60.0, 0.0) + np.random.default_rng(3).normal(0.0, 0.1, len(t_s))
    reading = read({Role.MASS: Curve(t_s, mass)}, empty_plan())
    kinds = [event.kind for event in reading.events]
    assert kinds == [EventKind.REFUEL, EventKind.FLAMEOUT]
    assert reading.lit_s is None


def test_where_nothing_burnt_no_flame_ends() -> None:
    # A pot is set down, a gust leans on the cell and lets go of it again, and the probe over the fuel stays cold.
    t = np.arange(900, dtype=np.float64) + 0.5
    gust = 6.0 * np.clip((t - 100.0) / 20.0, 0.0, 1.0) * np.clip((260.0 - t) / 120.0, 0.0, 1.0)
    mass = 1500.0 + gust + 900.0 * (t > 400.0) + np.random.default_rng(3).normal(0.0, 0.1, 900)
    curves = {Role.MASS: Curve(t, mass), Role.FLAME: Curve(t, np.full(900, 19.0))}
    assert [event.kind for event in read(curves, empty_plan()).events] == [EventKind.POT_ON]


def test_an_empty_record_has_no_events() -> None:
    assert read({}, empty_plan()).events == ()
    nothing = Curve(np.zeros(0), np.zeros(0))
    assert read({Role.MASS: nothing, Role.WATER: nothing, Role.FLAME: nothing}, empty_plan()).events == ()
