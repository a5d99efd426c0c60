import json
from types import SimpleNamespace
from typing import Any
from urllib.parse import urlencode

import pytest
from starlette.applications import Starlette

from emberline.bench.channels import Role
from emberline.bench.plan import parse_plan
from emberline.service.board import Board, TrialNow
from emberline.service.errors import RequestError
from emberline.store.store import Store
from emberline.trials.alarms import AlarmKind
from emberline.trials.comparison.run_order import run_order
from emberline.trials.comparison.series import Series, series_document
from emberline.trials.comparison.stop_rule import StopRule
from emberline.trials.corrections import AddEvent, CorrectionError
from emberline.trials.live_document import LiveValue
from emberline.web.frame import ERRORS, Guard
from emberline.web.live_page import LivePages
from unit.store.made_up import NOON_NS
from web_fixture import Answer, asked

FORM = {"host": "127.0.0.1", "content-type": "application/x-www-form-urlencoded"}
SCRIPT = {**FORM, "accept": "application/json"}


class Desk:
    def __init__(self) -> None:
        self.made: list[tuple[str, AddEvent, str]] = []

    async def correct(self, trial: str, change: AddEvent, by: Any) -> None:
        if not by.who:
            raise CorrectionError("say who you are", "who")
        self.made.append((trial, change, by.who))


@pytest.fixture
def desk() -> Desk:
    return Desk()


@pytest.fixture
def app(lane: SimpleNamespace, store: Store, desk: Desk) -> Guard:
    daemon: Any = SimpleNamespace(lanes={"yard": lane}, store=store, desk=desk)
    return Guard(Starlette(routes=LivePages(daemon).routes(), exception_handlers=ERRORS))


@pytest.fixture
def trial(board: Board, store: Store) -> str:
    opened = store.create_trial(bench="yard", start_ns=NOON_NS, zone="UTC", label="chips", bench_text="", plan_text="")
    board.trial = TrialNow(opened.id, "chips", NOON_NS)
    return opened.id


async def posted(app: Guard, path: str, headers: dict[str, str] = SCRIPT, **form: str) -> Answer:
    return await asked(app, "POST", f"/bench/yard/{path}", headers, urlencode(form).encode())


async def test_a_bench_is_named_once_and_its_curves_are_awaited_only_after_readings(app: Guard, board: Board) -> None:
    text = (await asked(app, "GET", "/")).text
    assert 'data-where="bench yard">No trial is open</p>' in text
    assert ("No reading has come yet." in text, "The curves are on their way." in text) == (True, False)
    board._newest.by_role[Role.WATER] = LiveValue(20.0, "c", NOON_NS, NOON_NS + 5 * 10**9)
    text = (await asked(app, "GET", "/")).text
    assert ("No reading has come yet." in text, "The curves are on their way." in text) == (False, True)


async def test_the_only_bench_is_the_first_page(app: Guard) -> None:
    answer = await asked(app, "GET", "/")
    assert answer.status == 200
    assert 'data-bench="yard"' in answer.text
    assert "carbon monoxide" in answer.text.lower()
    assert answer.text == (await asked(app, "GET", "/bench/yard")).text


async def test_several_benches_are_listed(lane: SimpleNamespace, store: Store) -> None:
    daemon: Any = SimpleNamespace(lanes={"yard": lane, "shed": lane}, store=store)
    answer = await asked(Starlette(routes=LivePages(daemon).routes()), "GET", "/")
    assert answer.text.count('class="block bench"') == 2


async def test_an_unknown_bench_is_told_with_those_that_there_are(app: Guard) -> None:
    answer = await asked(app, "GET", "/bench/attic")
    assert answer.status == 404
    assert "is recorded here, but yard." in answer.text


async def test_a_remark_is_kept(app: Guard, lane: SimpleNamespace) -> None:
    answer = await posted(app, "remark", text="  flame \n unsteady ")
    assert answer.json()["done"] == "Kept: flame unsteady"
    assert lane.asked == [("note", "flame unsteady")]
    plain = await posted(app, "remark", FORM, text="smoke")
    assert (plain.status, plain.headers["location"]) == (303, "/bench/yard")


async def test_an_empty_or_endless_remark_is_refused_beside_its_field(app: Guard, lane: SimpleNamespace) -> None:
    assert (await posted(app, "remark", text=" ")).json() == {"refused": {"text": "write something first"}}
    without_script = await posted(app, "remark", FORM, text="x" * 2_001)
    assert without_script.status == 422
    assert "at most 2000 characters" in without_script.text
    assert "x" * 2_001 in without_script.text
    assert lane.asked == []


async def test_a_stamp_is_a_correction_at_this_moment_or_some_seconds_ago(app: Guard, desk: Desk, trial: str) -> None:
    assert (await posted(app, "stamp", kind="boil", who="Ada")).json()["done"] == "Boil: now."
    await posted(app, "stamp", kind="flameout", who="Ada", ago_s="20,0")
    (_, now, who), (_, ago, _) = desk.made
    assert (now.kind, now.t_s, now.u_s, who) == ("boil", 300.0, 1.0, "Ada")
    assert (ago.t_s, ago.u_s) == (280.0, 2.0)


@pytest.mark.parametrize(
    ("form", "field"),
    [({"who": ""}, "who"), ({"ago_s": "soon"}, "ago_s"), ({"ago_s": "-3"}, "ago_s"), ({"ago_s": "nan"}, "ago_s")],
)
async def test_a_stamp_that_cannot_be_is_refused_beside_its_field(
    app: Guard, trial: str, form: dict[str, str], field: str
) -> None:
    answer = await posted(app, "stamp", SCRIPT, **{"kind": "boil", "who": "Ada", **form})
    assert list(answer.json()["refused"]) == [field]


async def test_without_a_trial_nothing_can_be_stamped(app: Guard) -> None:
    assert "no trial is running" in (await posted(app, "stamp", kind="lit", who="Ada")).text
    assert (await posted(app, "stamp", FORM, kind="party", who="Ada")).status == 400


async def test_a_trial_is_started_and_ended(app: Guard, lane: SimpleNamespace) -> None:
    assert (await posted(app, "arm", label=" chips,  run 3 ")).json()["done"] == "Trial 2025-11-25-1 is open."
    ended = await posted(app, "end", FORM)
    assert (ended.status, ended.headers["location"]) == (303, "/trials/2025-11-25-1")
    assert lane.asked == [("arm", "", "chips, run 3"), ("end",)]


async def test_what_the_keeper_refuses_is_said(app: Guard, lane: SimpleNamespace) -> None:
    async def refuse(*_: object) -> str:
        raise RequestError("no reading has come yet")

    lane.keeper = SimpleNamespace(arm=refuse, end=refuse)
    assert (await posted(app, "arm", label="x")).json() == {"refused": {"label": "no reading has come yet"}}
    assert (await posted(app, "end")).json() == {"refused": {"": "No reading has come yet."}}


async def test_the_part_about_the_burn_changes_with_the_trial(
    app: Guard, store: Store, trial: str, board: Board
) -> None:
    running = await asked(app, "GET", "/bench/yard/burn")
    assert "What you see yourself" in running.text
    assert f"/trials/{trial}/plan" in running.text
    board.trial = None
    assert "Start a trial" in (await asked(app, "GET", "/bench/yard/burn")).text


async def test_a_trial_is_started_as_the_next_run_of_a_series(app: Guard, lane: SimpleNamespace, store: Store) -> None:
    runs = tuple(run_order({"holes": ["8", "12"]}, 2, range))
    series = Series("holes-1", "time_to_boil", StopRule(burns=2), 1, runs)
    store.plan_series("holes-1", json.dumps(series_document(series)))
    assert "holes-1: run 1, holes 8" in (await asked(app, "GET", "/")).text
    await posted(app, "arm", label="", series="holes-1")
    ((what, plan, _),) = lane.asked
    assert what == "arm"
    assert (parse_plan(plan).series, parse_plan(plan).run, parse_plan(plan).factors) == ("holes-1", 1, {"holes": "8"})
    assert "no series 'none'" in (await posted(app, "arm", series="none")).json()["refused"]["label"]


async def test_an_alarm_is_shown_without_scripts_and_acknowledged_by_a_form(app: Guard, board: Board) -> None:
    board.alarms.raised(AlarmKind.LOAD_GONE, "The load fell from 1,700 g to 3 g.", NOON_NS)
    text = (await asked(app, "GET", "/bench/yard")).text
    assert "The load fell from 1,700 g to 3 g." in text
    assert 'action="/bench/yard/acknowledge"' in text
    plain = await posted(app, "acknowledge", FORM, who="Ada", alarm="load_gone")
    assert (plain.status, plain.headers["location"]) == (303, "/bench/yard")
    assert board.alarms.shown[0].acknowledged_by == "Ada"
    text = (await asked(app, "GET", "/bench/yard")).text
    assert "Acknowledged by Ada." in text
    assert 'acknowledge"' not in text


async def test_who_comes_second_is_told_that_it_was_acknowledged(app: Guard, board: Board) -> None:
    board.alarms.raised(AlarmKind.LOAD_GONE, "It fell.", NOON_NS)
    first = await posted(app, "acknowledge", who="Ada")
    assert first.json()["done"] == "Acknowledged: The load is gone: the stove may have tipped over"
    assert (await posted(app, "acknowledge", who="Bo")).json()["done"] == "It was acknowledged already."
    assert board.alarms.shown[0].acknowledged_by == "Ada"


async def test_alarms_are_listed_with_the_benches(lane: SimpleNamespace, board: Board, store: Store) -> None:
    board.alarms.raised(AlarmKind.PROBE_OUT, "It fell.", NOON_NS)
    daemon: Any = SimpleNamespace(lanes={"yard": lane, "shed": lane}, store=store)
    answer = await asked(Starlette(routes=LivePages(daemon).routes()), "GET", "/")
    assert answer.text.count("The water probe is out of the water</p>") == 2


async def test_a_list_of_benches_says_which_alarms_have_lost_their_cause(
    lane: SimpleNamespace, board: Board, store: Store
) -> None:
    board.alarms.raised(AlarmKind.PROBE_OUT, "It fell.", NOON_NS)
    board.alarms.cleared(AlarmKind.PROBE_OUT)
    daemon: Any = SimpleNamespace(lanes={"yard": lane, "shed": lane}, store=store)
    answer = await asked(Starlette(routes=LivePages(daemon).routes()), "GET", "/")
    assert "The water probe is out of the water (its cause has gone)</p>" in answer.text
