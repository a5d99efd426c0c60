import json
from types import SimpleNamespace
from typing import Any
from urllib.parse import urlencode

import pytest
from starlette.applications import Starlette

from emberline.bench.channels import Role
from emberline.store.store import Store
from emberline.trials.comparison.run_order import run_order
from emberline.trials.comparison.series import Series, series_document
from emberline.trials.comparison.stop_rule import StopRule
from emberline.trials.guide.course import act, opened
from emberline.trials.guide.plan_making import plan_text
from emberline.trials.guide.screen import screen
from emberline.trials.guide.steps import STEPS
from emberline.trials.guide.typed import GuideError
from emberline.web.frame import ERRORS, Guard
from emberline.web.guide_page import asked_of, guide_routes, look_of
from unit.trials.guide.guided import POT, Person, ready
from web_fixture import Answer, asked

FORM = {"host": "127.0.0.1", "content-type": "application/x-www-form-urlencoded"}
SCRIPT = {**FORM, "accept": "application/json"}


class Guides:
    """The guide of one person, without a daemon."""

    def __init__(self) -> None:
        self.person = Person()

    async def show(self, bench: str) -> dict[str, Any]:
        return screen(self.person.guide, self.person.seen)

    async def ask(self, bench: str, request: dict[str, Any]) -> dict[str, Any]:
        problems: dict[str, str] = {}
        try:
            self.person.looks()
            self.person.guide = act(self.person.guide, self.person.seen, request)
        except GuideError as error:
            problems = error.problems
        return screen(self.person.guide, self.person.seen, problems)


@pytest.fixture
def guides() -> Guides:
    return Guides()


@pytest.fixture
def app(guides: Guides, store: Store) -> Guard:
    daemon: Any = SimpleNamespace(lanes={"yard": None}, guides=guides, store=store)
    return Guard(Starlette(routes=guide_routes(daemon), exception_handlers=ERRORS))


async def posted(app: Guard, headers: dict[str, str] = SCRIPT, **form: str) -> Answer:
    form = {key.replace("__", "."): text for key, text in form.items()}
    return await asked(app, "POST", "/bench/yard/guide", headers, urlencode(form).encode())


async def test_a_burn_is_begun_from_the_inventory(app: Guard, guides: Guides) -> None:
    answer = await asked(app, "GET", "/bench/yard/guide")
    assert answer.status == 200
    assert f"<option>{POT.name}</option>" in answer.text
    answer = await posted(app, FORM, act="begin", at="begin", pot=POT.name, factor_name_19="holes", factor_word_19="12")
    assert answer.status == 303
    assert guides.person.guide.at == "empty"
    assert guides.person.guide.base["factors"] == {"pot": POT.name, "holes": "12"}


async def test_the_reading_is_taken_by_its_button(app: Guard, guides: Guides) -> None:
    guides.person.does("begin", with_pot=False)
    guides.person.does("go", step="stove")
    guides.person.table.put(640.0)
    guides.person.looks()
    answer = await asked(app, "GET", "/bench/yard/guide")
    assert "Put the empty stove on the scale." in answer.text
    assert 'value="take:0"' in answer.text
    answer = await posted(app, act="take:0", at="stove")
    assert answer.json()["done"].startswith("Empty stove: 6")
    assert guides.person.guide.at == "fuel"


async def test_what_was_typed_wrong_stays_with_the_reason_beside_it(app: Guard, guides: Guides) -> None:
    guides.person.does("begin", with_pot=False)
    guides.person.does("go", step="fuel")
    answer = await posted(app, act="type", at="fuel", fuel__mass_g="0.33")
    assert "kilograms" in answer.json()["refused"]["fuel.mass_g"]
    answer = await posted(app, FORM, act="type", at="fuel", fuel__mass_g="0.33")
    assert answer.status == 422
    assert 'value="0.33"' in answer.text
    assert "kilograms" in answer.text


async def test_a_planned_series_is_offered_before_the_trial_is_opened(app: Guard, guides: Guides, store: Store) -> None:
    runs = tuple(run_order({"holes": ["8", "12"]}, 5, range))
    series = Series("holes-1", "time_to_boil", StopRule(burns=5), 1, runs)
    store.plan_series("holes-1", json.dumps(series_document(series)))
    guides.person.does("begin", with_pot=False)
    assert "holes-1" not in (await asked(app, "GET", "/bench/yard/guide")).text
    guides.person.does("go", step="ready")
    text = (await asked(app, "GET", "/bench/yard/guide")).text
    assert f'<option value="holes-1">holes-1: run 1, holes {runs[0].factors["holes"]}</option>' in text
    opening = asked_of({"act": "open", "at": "ready", "series": "holes-1"})
    assert opening == {"act": "open", "at": "ready", "series": "holes-1", "values": {}}


async def test_an_unknown_bench_is_told_in_words(app: Guard) -> None:
    answer = await asked(app, "GET", "/bench/attic/guide")
    assert answer.status == 404


@pytest.mark.parametrize("step", [step.id for step in STEPS])
async def test_every_step_is_a_page(app: Guard, guides: Guides, step: str) -> None:
    guides.person = ready(Person())
    person = guides.person
    person.guide = opened(person.guide, person.seen, "2026-11-28-1", plan_text(person.guide))
    person.looks(marks_ns={"lit": 1, "flameout": 2}, readings={Role.WATER: 14.0}, advice=("weigh it",))
    if step not in ("begin", "kindling", "lid"):
        person.does("go", step=step)
    answer = await asked(app, "GET", "/bench/yard/guide")
    assert answer.status == 200
    assert f'data-step="{person.guide.at}"' in answer.text


def test_a_buttons_value_names_what_it_is_about() -> None:
    assert asked_of({"act": "take:1", "at": "fuel"}) == {"act": "take", "at": "fuel", "offer": 1, "values": {}}
    assert asked_of({"act": "go:fuel"})["step"] == "fuel"
    assert asked_of({"act": "type", "fuel.mass_g": "330"})["values"] == {"fuel.mass_g": "330"}


def test_a_chosen_pot_is_a_pot_and_an_emptied_condition_none() -> None:
    begun = asked_of({"act": "begin", "pot": "tin", "factor_name_0": "holes", "factor_word_0": ""})
    assert begun["with_pot"]
    assert begun["factors"] == {"holes": ""}


def test_what_changes_while_one_looks_is_in_words() -> None:
    person = Person()
    person.does("begin", with_pot=False)
    person.does("go", step="stove")
    person.table.put(640.0)
    person.looks()
    look = look_of(screen(person.guide, person.seen))
    assert look["takes"]
    assert look["offers"][0]["label"].startswith("Take 6")
    assert look["reading"]["half"].startswith("±")
    person.table.put(30.0, then_s=0.5)
    person.looks()
    assert look_of(screen(person.guide, person.seen))["reading"]["words"] == "not steady yet"
