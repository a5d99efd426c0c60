from collections.abc import Mapping
from types import SimpleNamespace
from typing import Any
from urllib.parse import urlencode

import pytest
from starlette.applications import Starlette

from emberline.bench.plan_values import plan_values
from emberline.service.board import Board
from emberline.service.desk import Desk
from emberline.service.keeper import Ended
from emberline.store.store import Store
from emberline.web.frame import ERRORS, Guard
from emberline.web.plan_page import plan_routes
from unit.store.made_up import NOON_NS, SECOND_NS
from web_fixture import Answer, asked

FORM = {"host": "127.0.0.1", "content-type": "application/x-www-form-urlencoded"}
SCRIPT = {**FORM, "accept": "application/json"}


@pytest.fixture
def due() -> list[Ended]:
    return []


@pytest.fixture
def app(store: Store, board: Board, due: list[Ended]) -> Guard:
    desk = Desk(store, board.clock, {}, due.append)
    daemon: Any = SimpleNamespace(store=store, desk=desk)
    return Guard(Starlette(routes=plan_routes(daemon), exception_handlers=ERRORS))


@pytest.fixture
def trial(store: Store) -> str:
    entered = store.create_trial(
        bench="yard",
        start_ns=NOON_NS,
        zone="UTC",
        label="chips",
        bench_text="",
        plan_text='label = "chips"\n[fuel]\nmass_g = 310.0\n',
    )
    store.end_trial(entered.id, NOON_NS + 900 * SECOND_NS)
    return entered.id


async def posted(app: Guard, trial: str, headers: Mapping[str, str], **typed: str) -> Answer:
    form = {"label": "chips", "fuel.mass_g": "310", "who": "Ada", **{k.replace("__", "."): v for k, v in typed.items()}}
    return await asked(app, "POST", f"/trials/{trial}/plan", headers, urlencode(form).encode())


async def test_the_form_shows_the_plan_with_units_and_hints(app: Guard, trial: str) -> None:
    answer = await asked(app, "GET", f"/trials/{trial}/plan")
    assert answer.status == 200
    assert 'name="fuel.mass_g"' in answer.text
    assert 'value="310"' in answer.text
    assert "0.11 for 11 %" in answer.text
    assert "Remarks behind <code>#</code> there are not kept" in answer.text


async def test_a_changed_plan_is_a_correction_and_the_results_follow(
    app: Guard, trial: str, store: Store, due: list[Ended]
) -> None:
    answer = await posted(app, trial, FORM, fuel__moisture_wet="0,12", why="measured it")
    assert (answer.status, answer.headers["location"]) == (303, f"/trials/{trial}")
    assert plan_values(store.trial(trial).plan_text)["fuel.moisture_wet"] == 0.12
    (correction,) = store.corrections(trial)
    assert (correction.who, correction.why) == ("Ada", "measured it")
    assert [one.trial for one in due] == [trial]


async def test_refusals_stand_beside_the_field_and_nothing_typed_is_lost(app: Guard, trial: str, store: Store) -> None:
    answer = await posted(app, trial, FORM, fuel__moisture_wet="11", pot__water_g="500")
    assert answer.status == 422
    assert "a percentage? write 0.11 for 11 %" in answer.text
    assert 'value="500"' in answer.text
    for_script = await posted(app, trial, SCRIPT, fuel__moisture_wet="much", who="")
    assert list(for_script.json()["refused"]) == ["fuel.moisture_wet"]
    assert list((await posted(app, trial, SCRIPT, fuel__mass_g="311", who="")).json()["refused"]) == ["who"]
    assert store.corrections(trial) == []


async def test_what_somebody_else_changed_meanwhile_is_not_overwritten(app: Guard, trial: str, store: Store) -> None:
    await posted(app, trial, FORM, fuel__mass_g="312", seen="0")
    answer = await posted(app, trial, SCRIPT, fuel__mass_g="313", seen="0", who="Bo")
    assert "refused" in answer.json()
    assert plan_values(store.trial(trial).plan_text)["fuel.mass_g"] == 312.0


async def test_an_unknown_trial_is_told(app: Guard) -> None:
    assert (await asked(app, "GET", "/trials/2020-01-01-1/plan")).status == 404
