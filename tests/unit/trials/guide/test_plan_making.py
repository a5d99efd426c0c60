from typing import Any

import pytest

from emberline.bench.plan import parse_plan
from emberline.trials.guide.course import begin
from emberline.trials.guide.plan_making import begun_from, changes, merged, plan_table, plan_text, put
from emberline.trials.guide.state import Answer, Guide

LAST: dict[str, Any] = {
    "label": "run 3",
    "factors": {"fuel": "pellets", "holes": "12", "pot": "tin"},
    "fuel": {"lot": "a", "mass_g": 330.0, "moisture_wet": 0.08, "starter_g": 4.0},
    "pot": {"tare_g": 312.0, "water_g": 500.0, "lid": False},
}


def now(**tables: dict[str, Any]) -> dict[str, Any]:
    return merged(LAST, tables)


def answered(**values: tuple[float, float]) -> Guide:
    keyed = {key.replace("__", "."): value for key, value in values.items()}
    return Guide(1, answers={"x": Answer("scale", 1, keyed)})


def test_a_number_and_its_uncertainty_are_set_together() -> None:
    table: dict[str, Any] = {"fuel": {"mass_g": 1.0, "u_mass_g": 9.0}}
    put(table, "fuel.mass_g", 330.12345678, 0.0)
    assert table == {"fuel": {"mass_g": 330.123}}
    put(table, "pot.water_g", 500.0, 0.25)
    assert table["pot"] == {"water_g": 500.0, "u_water_g": 0.25}


def test_answers_lie_over_what_was_begun_with() -> None:
    text = plan_text(answered(fuel__mass_g=(330.0, 0.4)))
    plan = parse_plan(text)
    assert plan.fuel.mass_g is not None
    assert (plan.fuel.mass_g.n, plan.fuel.mass_g.s) == (330.0, 0.4)
    assert plan_text(begin(1)).strip() == ""


def test_a_known_mass_that_nobody_laid_on_is_left_out() -> None:
    guide = Guide(1, base={"load_cell": {"known_g": 500.0}})
    assert plan_table(guide) == {}


def test_tables_lie_over_each_other_and_stay_their_own() -> None:
    below = {"fuel": {"lot": "a", "mass_g": 1.0}}
    assert merged(below, {"fuel": {"lot": "b"}}) == {"fuel": {"lot": "b", "mass_g": 1.0}}
    assert below["fuel"]["lot"] == "a"


def test_the_next_burn_begins_without_what_is_weighed_anew() -> None:
    last = now(fuel={"char_left_g": 50.0, "u_mass_g": 0.3}, pot={"final_water_g": 430.0})
    last["load_cell"] = {"known_g": 500.0, "shown_g": 499.0}
    last["refuel"] = [{"mass_g": 50.0}]
    # It would count as the same run of its series once more.
    last |= {"series": "holes-1", "run": 3}
    assert begun_from(last) == {
        "factors": LAST["factors"],
        "fuel": {"lot": "a", "moisture_wet": 0.08},
        "pot": {"tare_g": 312.0, "lid": False},
        "load_cell": {"known_g": 500.0},
    }


def test_the_same_again_has_no_change() -> None:
    assert changes(LAST, now(fuel={"mass_g": 333.0}, pot={"water_g": 497.0})) == []


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        ({"factors": {"holes": "16"}}, ["holes: 12 before, 16 now"]),
        ({"factors": {"riser": "tall"}}, ["riser: not said before, tall now"]),
        ({"fuel": {"mass_g": 300.0}}, ["mass of the fuel: 330 g before, 300 g now"]),
        ({"fuel": {"moisture_wet": 0.12}}, ["moisture: 8 % before, 12 % now"]),
        ({"fuel": {"lot": "b", "moisture_wet": 0.12}}, ["fuel lot: a before, b now"]),
        ({"factors": {"pot": "big"}, "pot": {"tare_g": 600.0, "lid": True}}, ["pot: tin before, big now"]),
        ({"pot": {"lid": True}}, ["lid: none before, on now"]),
        (
            {"factors": {"holes": "16"}, "pot": {"water_g": 750.0}},
            ["holes: 12 before, 16 now", "water: 500 g before, 750 g now"],
        ),
    ],
)
def test_each_change_is_told_once(tables: dict[str, dict[str, Any]], said: list[str]) -> None:
    assert [str(change) for change in changes(LAST, now(**tables))] == said


def test_what_only_one_of_them_says_is_no_change() -> None:
    last = {"fuel": {"mass_g": 330.0}}
    assert changes(last, {"fuel": {"mass_g": 330.0, "starter_g": 4.0}}) == []
