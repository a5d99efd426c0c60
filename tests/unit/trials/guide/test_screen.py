import json
from dataclasses import replace
from typing import Any

import pytest

from emberline.bench.channels import Role
from emberline.trials.guide.course import opened
from emberline.trials.guide.plan_making import plan_table, plan_text
from emberline.trials.guide.screen import screen
from emberline.trials.guide.steps import STEPS
from unit.trials.guide.guided import LOT, POT, STOVE, Person, channels, ready
from unit.trials.guide.weighing_table import Table

HOUR_NS = 3_600_000_000_000


def shown(person: Person) -> dict[str, Any]:
    document = screen(person.guide, person.seen)
    json.dumps(document)
    return document


def test_the_first_screen_offers_the_inventory_and_the_last_burn() -> None:
    person = Person()
    person.looks(last={"label": "run 2", "factors": {"holes": "12"}, "fuel": {"lot": "a"}, "pot": {}})
    first = shown(person)
    assert first["begin"]["entries"] == {"lot": [LOT.name], "pot": [POT.name], "stove": [STOVE.name]}
    assert first["begin"]["last"] == {"label": "run 2", "factors": {"holes": "12"}}
    assert (first["number"], first["can_go_back"], first["can_skip"]) == (1, False, False)


def test_a_weighing_shows_what_was_put_on_so_far() -> None:
    person = Person()
    person.does("begin", with_pot=False)
    for _ in ("empty", "known"):
        person.does("skip")
    assert shown(person)["offers"] == []
    person.table.put(640.0)
    person.looks()
    document = shown(person)
    assert document["title"] == "Empty stove"
    assert document["reading"]["value"] == pytest.approx(640.0, abs=3.0)
    assert document["reading"]["steady"]
    assert document["takes"]
    assert document["offers"][0]["u"] > 0.0


def test_a_listed_pot_can_be_kept_as_listed() -> None:
    person = Person()
    person.does("begin", pot=POT.name, with_pot=True)
    person.does("go", step="pot")
    assert shown(person)["listed"] == {"value": 312.0, "u": 0.4, "unit": "g"}


def test_what_is_wrong_stands_with_its_field() -> None:
    person = Person()
    document = screen(person.guide, person.seen, {"fuel.mass_g": "no"})
    assert document["problems"] == {"fuel.mass_g": "no"}


def test_two_changes_at_once_are_warned_of_before_the_trial_opens() -> None:
    last = plan_table(ready(Person()).guide)
    person = Person(Table(2))
    person.looks(last=last)
    person.does("begin", as_last=True, with_pot=True, factors={"holes": "12", "pot": POT.name})
    person.does("go", step="fuel")
    person.does("type", values={"fuel.mass_g": "250"})
    person.does("go", step="ready")
    (warning,) = [one for one in shown(person)["warnings"] if "changed" in one]
    assert "2 things changed" in warning
    assert "holes: not said before, 12 now" in warning
    assert "mass of the fuel: 330" in warning
    person.does("go", step="fuel")
    person.does("type", values={"fuel.mass_g": "330"})
    person.does("go", step="ready")
    assert not [one for one in shown(person)["warnings"] if "changed" in one]
    assert shown(person)["ready"]["changed"] == ["holes: not said before, 12 now"]


def test_a_cell_that_will_be_overloaded_is_told_before_the_water_is_poured() -> None:
    last = plan_table(ready(Person()).guide)
    person = Person(Table(2))
    small = {**channels(), Role.MASS: replace(channels()[Role.MASS], capacity_g=1_500.0)}
    person.looks(last=last, channels=small)
    person.does("begin", as_last=True, with_pot=True)
    person.does("go", step="stove")
    person.table.put(900.0)
    person.looks()
    assert any("larger cell" in one for one in shown(person)["warnings"])


def test_hot_char_is_never_suggested() -> None:
    person = ready(Person())
    person.guide = opened(person.guide, person.seen, "t", plan_text(person.guide))
    out_ns = person.table.now_ns
    person.looks(marks_ns={"flameout": out_ns}, readings={Role.FLAME: 240.0, Role.AMBIENT: 19.0})
    person.does("go", step="char")
    person.table.put(60.0)
    person.looks()
    document = shown(person)
    assert "flame probe still shows 240" in document["wait"]
    assert (document["offers"], document["takes"], document["reading"]) == ([], False, None)
    assert document["ask"].startswith("Not yet")
    assert document["fields"]  # what was weighed elsewhere, or next day, can still be typed
    assert "cold" in document["caution"]
    cold = replace(person.seen, now_ns=out_ns + 4 * HOUR_NS, readings={Role.FLAME: 21.0, Role.AMBIENT: 19.0})
    assert screen(person.guide, cold)["wait"] == ""
    assert screen(person.guide, cold)["takes"]


def test_what_was_left_out_is_said_at_the_end_with_what_it_would_bring() -> None:
    person = ready(Person())
    person.guide = opened(person.guide, person.seen, "t", plan_text(person.guide))
    person.looks(advice=("To halve the uncertainty of efficiency, weigh the char.",), summary="/trials/t")
    person.does("go", step="finish")
    finish = shown(person)["finish"]
    assert "The cold char was not weighed." in finish["missing"]
    assert "The fuel was not weighed." not in finish["missing"]
    assert finish["advice"] == ["To halve the uncertainty of efficiency, weigh the char."]


@pytest.mark.parametrize("step", [step.id for step in STEPS])
def test_every_step_has_a_screen(step: str) -> None:
    person = ready(Person())
    guide = replace(person.guide, at=step, trial="t", kindling=True)
    document = screen(guide, person.seen)
    assert document["step"] == step
    assert document["ask"]
