from dataclasses import replace

import pytest

from emberline.bench.channels import Role
from emberline.bench.plan import parse_plan
from emberline.trials.guide.course import act, course, offered, opened
from emberline.trials.guide.level import Level
from emberline.trials.guide.plan_making import plan_table, plan_text
from emberline.trials.guide.screen import screen
from emberline.trials.guide.typed import GuideError
from unit.trials.guide.guided import LOT, POT, Person, channels, ready
from unit.trials.guide.weighing_table import Table

SECOND_NS = 1_000_000_000


def burning(person: Person) -> Person:
    """Open the trial and light it."""
    person.guide = opened(person.guide, person.seen, "2026-11-28-1", plan_text(person.guide))
    return person


def test_a_burn_weighed_on_the_scale_makes_a_plain_plan() -> None:
    person = ready(Person())
    plan = parse_plan(plan_text(person.guide))
    assert (plan.label, plan.fuel.lot) == ("run 1", LOT.name)
    assert plan.factors == {"fuel": "pellets", "pot": POT.name, "stove": "paint can"}
    for value, true_g in ((plan.fuel.mass_g, 330.0), (plan.fuel.starter_g, 5.0)):
        assert value is not None
        assert abs(value.n - true_g) < 2.5 * value.s
        assert value.s < 1.5
    assert plan.pot is not None
    assert plan.pot.tare_g is not None
    assert (plan.pot.tare_g.n, plan.pot.tare_g.s) == (312.0, 0.4)
    water = plan.pot.visit(0).water_g
    assert water is not None
    assert abs(water.n - 500.0) < 2.5 * water.s
    assert plan.load_cell.shown_g is not None
    assert plan.place.altitude_m is not None


def test_many_guided_burns_state_what_they_weigh_honestly() -> None:
    inside = total = 0
    for seed in range(25):
        person = ready(Person(Table(seed, wind_g=0.3 * (seed % 2))))
        for key, true_g in (("fuel.mass_g", 330.0), ("fuel.starter_g", 5.0), ("pot.water_g", 500.0)):
            value, u = person.value(key)
            inside += abs(value - true_g) < 1.96 * u
            total += 1
    assert inside >= 0.93 * total


def test_things_weighed_apart_give_the_same_plan() -> None:
    person = Person(Table(3))
    person.does("begin", lot=LOT.name, with_pot=True)
    for _ in ("empty", "known", "probe"):
        person.does("skip")
    person.weighs(640.0)
    for key, true_g in (("fuel.mass_g", 330.0), ("fuel.starter_g", 5.0), ("pot.tare_g", 312.0)):
        person.clears()
        person.table.put(true_g)
        person.does("take")
        value, u = person.value(key)
        assert abs(value - true_g) < 2.5 * u, key
    # The pot is filled at the tap and comes back with its water.
    person.clears()
    person.table.put(812.0)
    person.does("take")
    assert person.value("pot.water_g")[0] == pytest.approx(500.0, abs=4.0)


def test_a_stove_put_on_while_the_known_mass_is_lifted_is_weighed_against_the_zero() -> None:
    person = Person(Table(14))
    person.does("begin", with_pot=False)
    person.does("take")
    person.table.put(200.0)
    person.does("take", values={"load_cell.known_g": "200"})
    assert offered(person.guide, person.looks()) == []  # the known mass still stands there
    person.table.put(-200.0, then_s=1.0)
    person.looks()
    person.table.put(640.0)
    person.does("take")
    assert person.guide.answers["stove"].words.startswith(("639", "640"))
    person.weighs(330.0)
    assert person.value("fuel.mass_g")[0] == pytest.approx(330.0, abs=2.0)


def test_a_tray_is_tared_away() -> None:
    person = Person(Table(4))
    person.does("begin", with_pot=False)
    for _ in ("empty", "known", "stove"):
        person.does("skip")
    person.looks()
    person.table.put(150.0)
    person.does("tare")
    person.weighs(330.0)
    assert person.value("fuel.mass_g")[0] == pytest.approx(330.0, abs=2.5)


def test_nothing_can_be_taken_from_a_scale_that_is_not_steady() -> None:
    person = Person(Table(5))
    person.does("begin", with_pot=False)
    person.table.put(640.0, then_s=1.0)
    person.looks()
    with pytest.raises(GuideError, match="not steady"):
        act(person.guide, person.seen, {"act": "take"})
    person.does("skip")
    person.does("skip")
    with pytest.raises(GuideError, match="nothing to offer"):
        person.does("take")


def test_a_step_can_be_typed_skipped_and_gone_back_to() -> None:
    person = Person(Table(6))
    person.does("begin", with_pot=True)
    person.does("skip")
    assert person.guide.answers["empty"].how == "skipped"
    person.does("go", step="fuel")
    person.does("type", values={"fuel.mass_g": "330,5 ± 1"})
    assert person.value("fuel.mass_g") == pytest.approx((330.5, 0.51), abs=0.01)
    assert person.guide.at == "starter"
    person.does("back")
    assert person.guide.at == "fuel"
    person.does("next")
    assert person.value("fuel.mass_g")[0] == 330.5  # what was answered stands
    person.does("go", step="fuel")
    person.does("type", values={"fuel.mass_g": "320"})
    assert person.value("fuel.mass_g") == (320.0, 0.0)
    assert "u_mass_g" not in plan_table(person.guide)["fuel"]


def test_what_is_typed_wrong_is_refused_beside_its_field() -> None:
    person = Person(Table(7))
    person.does("begin", with_pot=True)
    person.does("go", step="fuel")
    for text, words in (("0.33", "kilograms"), ("lots", "no number"), ("", "Type a number")):
        with pytest.raises(GuideError) as caught:
            person.does("type", values={"fuel.mass_g": text})
        assert words in caught.value.problems["fuel.mass_g"]
    assert person.guide.at == "fuel"


def test_the_known_mass_corrects_what_is_weighed_after_it() -> None:
    person = ready(Person(Table(8, span=1.006, drift_g_h=0.2)))
    assert "g for 500.0 g" in person.guide.answers["known"].words
    assert person.value("load_cell.shown_g")[0] == pytest.approx(503.0, abs=0.5)
    assert person.value("pot.water_g")[0] == pytest.approx(500.0, abs=0.8)


def test_a_mass_that_is_not_the_known_one_is_refused() -> None:
    person = Person(Table(9))
    person.does("begin", with_pot=False)
    person.does("take")
    person.table.put(440.0)
    with pytest.raises(GuideError, match="is that the mass"):
        person.does("take", values={"load_cell.known_g": "500"})
    with pytest.raises(GuideError, match="Say how much"):
        person.does("take")


def test_a_bench_without_a_scale_or_a_pot_is_asked_less() -> None:
    person = Person(seen=replace(Person().seen, channels=channels(Role.WATER)))
    person.does("begin", with_pot=True)
    assert [step.id for step in course(person.guide, person.seen)][:4] == ["begin", "probe", "fuel", "starter"]
    no_pot = Person()
    no_pot.does("begin", with_pot=False)
    assert not {"probe", "pot", "water", "pot_after"} & {step.id for step in course(no_pot.guide, no_pot.seen)}


def test_nothing_after_the_trial_can_be_reached_before_it_is_open() -> None:
    person = Person()
    person.does("begin", with_pot=False)
    with pytest.raises(GuideError, match="Open the trial first"):
        person.does("go", step="char")
    with pytest.raises(GuideError, match="no such step"):
        person.does("go", step="pot")


def test_the_scale_that_saw_the_pot_go_has_weighed_it() -> None:
    person = burning(ready(Person()))
    off_ns = person.table.now_ns
    person.looks(marks_ns={"lit": off_ns - 600 * SECOND_NS, "pot_off": off_ns}, lift_g=742.0)
    assert person.guide.answers["pot_after"].how == "seen"
    assert person.guide.at == "burn"
    person.looks(marks_ns={"flameout": off_ns + 300 * SECOND_NS})
    assert person.guide.at == "snuff"


def test_a_pot_that_is_lifted_when_asked_needs_no_answer() -> None:
    person = burning(ready(Person()))
    person.does("next")
    assert person.guide.at == "pot_after"
    person.table.put(-812.0)
    person.table.until_steady()
    person.looks()
    shown = screen(person.guide, person.seen)["reading"]
    assert shown["value"] == pytest.approx(812.0, abs=1.0)
    assert "gone with the pot" in shown["words"]
    person.looks(marks_ns={"pot_off": person.table.now_ns}, lift_g=812.0)
    assert person.guide.at == "snuff"


def test_a_pot_weighed_elsewhere_says_how_long_it_stood() -> None:
    person = burning(ready(Person()))
    off_ns = person.table.now_ns
    person.does("next")
    assert person.guide.at == "pot_after"
    person.looks(marks_ns={"pot_off": off_ns - 40 * SECOND_NS})
    person.does("type", values={"pot.with_water_g": "742 ± 2"})
    left_g, u_g = person.value("pot.final_water_g")
    assert left_g == pytest.approx(430.0)
    assert u_g == pytest.approx((1.02**2 + 0.4**2) ** 0.5, abs=0.01)
    assert person.value("pot.final_water_delay_s")[0] >= 40.0


def test_smothering_counts_from_flameout_whichever_is_known_first() -> None:
    for first in ("flameout", "snuffed"):
        person = burning(ready(Person()))
        out_ns = person.table.now_ns
        person.does("go", step="snuff")
        if first == "flameout":
            person.looks(marks_ns={"flameout": out_ns})
        person.table.wait(30.0)
        person.does("mark")
        person.looks(marks_ns={"flameout": out_ns})
        assert person.value("fuel.char_snuffed_s")[0] == pytest.approx(31.0, abs=4.0)


def test_what_the_zero_drifted_and_the_known_mass_again_enter_the_plan() -> None:
    person = burning(ready(Person(Table(12, drift_g_h=3.0))))
    person.clears()
    person.table.wait(1200.0)
    person.does("go", step="empty_after")
    person.does("take")
    person.table.put(500.0)
    person.does("take")
    plan = parse_plan(plan_text(person.guide))
    assert plan.load_cell.zero_drift_g is not None
    assert plan.load_cell.zero_drift_s is not None
    true_g = 3.0 * plan.load_cell.zero_drift_s.n / 3600.0
    assert abs(abs(plan.load_cell.zero_drift_g.n) - true_g) < 2.5 * plan.load_cell.zero_drift_g.s
    assert plan.load_cell.shown_after_g is not None
    assert person.guide.at == "finish"


def test_zero_drifts_are_stated_honestly() -> None:
    inside = 0
    for seed in range(40):
        person = Person(Table(seed, drift_g_h=2.0))
        person.does("begin", with_pot=False)
        zero_g = person.table._zero_g
        person.does("take")
        person.table.put(900.0)
        person.table.wait(600.0)
        person.guide = replace(person.guide, trial="x")
        person.clears()
        person.table.wait(300.0)
        person.does("go", step="empty_after")
        person.does("take")
        value, u = person.value("load_cell.zero_drift_g")
        inside += abs(value - (person.table._zero_g - zero_g)) < 1.96 * u
    assert inside >= 36


def test_the_same_as_last_time_takes_over_all_but_what_is_weighed() -> None:
    last = plan_table(ready(Person()).guide)
    last["fuel"]["char_left_g"] = 55.0
    person = Person()
    person.looks(last=last)
    person.does("begin", as_last=True, with_pot=True, factors={"holes": "12"})
    assert person.guide.base["fuel"] == {"lot": LOT.name, "moisture_wet": 0.08, "lhv_dry_j_g": 18_700.0}
    assert person.guide.base["factors"]["holes"] == "12"
    assert person.guide.base["place"]["altitude_m"] == 210.0
    assert "label" not in person.guide.base
    assert person.guide.last == last


def test_another_pot_does_not_keep_the_last_ones_facts() -> None:
    last = {"pot": {"tare_g": 536.0, "material": "copper", "lid": True, "lid_g": 99.0}}
    person = Person()
    person.looks(last=last)
    person.does("begin", as_last=True, with_pot=True, pot=POT.name)
    assert person.guide.base["pot"] == {"lid": False, "material": "steel", "tare_g": 312.0, "u_tare_g": 0.4}


def test_another_lot_brings_its_own_condition_though_the_form_still_names_the_last() -> None:
    last = {"factors": {"fuel": "chips", "holes": "12"}, "fuel": {"lot": "old"}}
    person = Person()
    person.looks(last=last)
    person.does("begin", as_last=True, with_pot=False, lot=LOT.name, factors={"fuel": "chips", "holes": "16"})
    assert person.guide.base["factors"] == {"fuel": "pellets", "holes": "16"}


def test_a_burn_begins_only_with_what_the_inventory_has() -> None:
    with pytest.raises(GuideError) as caught:
        Person().does("begin", pot="no such", with_pot=True)
    assert "pot" in caught.value.problems


def test_without_a_scale_nothing_is_offered() -> None:
    person = Person(seen=replace(Person().seen, channels=channels(Role.WATER)))
    level = Level(1.0, 0.1, 1, 9, True)
    assert offered(person.guide, replace(person.seen, level=level)) == []
