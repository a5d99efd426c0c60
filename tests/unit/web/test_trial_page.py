"""A trial's page without a browser: what it shows, and how it refuses."""

import json
from types import SimpleNamespace
from typing import Any
from urllib.parse import urlencode

import pytest
from starlette.applications import Starlette
from starlette.types import ASGIApp

from emberline.curves.events import Event, EventKind
from emberline.service.desk import By
from emberline.service.keeper import Ended
from emberline.store.store import Store
from emberline.trials.corrections import AddEvent, Exclude
from emberline.web.corrections_form import reference
from emberline.web.frame import ERRORS, Guard
from emberline.web.trial_files import folder_of
from emberline.web.trial_page import TrialPages
from unit.service.test_desk import BOIL, Bench
from unit.store.made_up import SECOND_NS
from web_fixture import Answer, asked

HERE = {"host": "127.0.0.1:8437", "content-type": "application/x-www-form-urlencoded"}
LIT = Event(EventKind.LIT, 60.0, 2.0, "mass falls")


@pytest.fixture
async def bench(store: Store) -> Bench:
    return Bench(store)


def pages(bench: Bench) -> ASGIApp:
    daemon: Any = SimpleNamespace(store=bench.store, desk=bench.desk, lanes={"yard": None})
    return Guard(Starlette(routes=TrialPages(daemon).routes(), exception_handlers=ERRORS))


def summed(bench: Bench, *events: Event) -> str:
    """Enter a trial whose summary is there."""
    trial = bench.imported(LIT, *events)
    bench.store.save_summary(trial, json.dumps({"corrections": []}), "0.1.0", "{}")
    folder = folder_of(bench.store.path, trial)
    folder.mkdir(parents=True)
    parts = {"head": "<p>the head</p>", "rest": "<p>the rest</p>"}
    (folder / "parts.json").write_text(json.dumps(parts), encoding="utf-8")
    (folder / "summary.json").write_text("{}", encoding="utf-8")
    (folder / "curves.svg").write_text("<svg/>", encoding="utf-8")
    return trial


async def post(bench: Bench, path: str, headers: dict[str, str] | None = None, /, **typed: str) -> Answer:
    body = urlencode(typed).encode()
    return await asked(pages(bench), "POST", path, HERE | {"content-length": str(len(body))} | (headers or {}), body)


async def test_a_trial_shows_its_summary_events_and_forms(bench: Bench) -> None:
    trial = summed(bench, BOIL)
    text = (await asked(pages(bench), "GET", f"/trials/{trial}")).text
    for expected in (
        "the head",
        "the rest",
        "<h1>old</h1>",
        "0:40 ± 4 s",
        "Move or delete an event",
        "mass_g = 310.0",
        "Remarks behind <code>#</code> are not kept",
    ):
        assert expected in text.replace("\N{NO-BREAK SPACE}", " "), expected
    assert "data-waited-for" not in text
    assert bench.due == []


async def test_photos_stand_on_the_page(bench: Bench) -> None:
    trial = summed(bench)
    bench.store.add_photo(trial, bench.clock.now_ns(), (640, 480), b"jpeg")
    text = (await asked(pages(bench), "GET", f"/trials/{trial}")).text
    assert f'src="/trials/{trial}/photos/1.jpg"' in text


async def test_unknown_trials_forms_and_files_are_told_in_words(bench: Bench) -> None:
    trial = summed(bench)
    for path in ("/trials/x", "/trials/x/state", "/trials/x/files/summary.json"):
        answer = await asked(pages(bench), "GET", path)
        assert (answer.status, "The store holds no trial of that name." in answer.text) == (404, True), path
    for name in ("seconds.csv", "parts.json", "..%2Femberline.sqlite3"):
        assert (await asked(pages(bench), "GET", f"/trials/{trial}/files/{name}")).status == 404
    assert (await post(bench, "/trials/x/correct/new", who="Ana", kind="boil", t="1:00", u_s="1")).status == 404
    assert (await post(bench, f"/trials/{trial}/correct/everything")).status == 404


async def test_files_are_handed_out_under_the_trials_name(bench: Bench) -> None:
    trial = summed(bench)
    answer = await asked(pages(bench), "GET", f"/trials/{trial}/files/summary.json")
    assert (answer.status, answer.body) == (200, b"{}")
    assert f'filename="{trial}-summary.json"' in answer.headers["content-disposition"]
    picture = await asked(pages(bench), "GET", f"/trials/{trial}/files/curves.svg")
    assert picture.headers["content-security-policy"] == "default-src 'none'; style-src 'unsafe-inline'"


async def test_a_correction_leads_back_to_the_page_which_waits_for_the_summary(bench: Bench) -> None:
    trial = summed(bench, BOIL)
    typed = {"event": reference(EventKind.BOIL, 100.25, None), "do": "move", "t": "0:50", "u_s": "2", "zero_s": "60"}
    answer = await post(bench, f"/trials/{trial}/correct/event", who="Ana", why="saw it", seen="0", **typed)
    assert (answer.status, answer.headers["location"]) == (303, f"/trials/{trial}")
    assert bench.due == [Ended("shed", trial, provisional=False)]
    text = (await asked(pages(bench), "GET", f"/trials/{trial}")).text.replace("\N{NO-BREAK SPACE}", " ")
    # The event is where the person says before the record was read again.
    for expected in ("data-waited-for", "0:50 ± 4 s", "set by Ana: saw it", "Boil moved to 0:50 ± 4 s", "before: 0:40"):
        assert expected in text, expected
    assert (await asked(pages(bench), "GET", f"/trials/{trial}/state")).json() == {"behind": True, "corrections": 1}
    bench.due.clear()
    bench.store.save_summary(trial, json.dumps({"corrections": [{}]}), "0.1.0", "{}")
    assert (await asked(pages(bench), "GET", f"/trials/{trial}/state")).json() == {"behind": False, "corrections": 1}


async def test_a_refusal_stands_beside_its_field_and_nothing_typed_is_lost(bench: Bench) -> None:
    trial = summed(bench, BOIL)
    answer = await post(
        bench, f"/trials/{trial}/correct/new", who="Ana <b>", why="by eye & ear", kind="refuel", t="noon", u_s="3"
    )
    assert answer.status == 422
    assert "&#39;noon&#39; is no moment" in answer.text
    for kept in (
        'value="Ana &lt;b&gt;"',
        'value="by eye &amp; ear"',
        'value="noon"',
        'value="3"',
        'value="refuel" selected',
    ):
        assert kept in answer.text, kept
    assert answer.text.count('aria-invalid="true"') == 1
    assert bench.store.corrections(trial) == []
    for_script = await post(
        bench, f"/trials/{trial}/correct/new", {"accept": "application/json"}, who="Ana", kind="boil", t="x", u_s="1"
    )
    assert list(for_script.json()["refused"]) == ["t"]


async def test_a_plan_that_was_refused_keeps_every_letter(bench: Bench) -> None:
    trial = summed(bench)
    text = '[fuel]\nmas_g = 310.0 # "weighed" </textarea>\n'
    answer = await post(bench, f"/trials/{trial}/correct/plan", who="Ana", plan=text)
    assert answer.status == 422
    assert "mas_g = 310.0 # &#34;weighed&#34; &lt;/textarea&gt;" in answer.text
    assert "did you mean mass_g" in answer.text


async def test_of_two_corrections_at_once_the_second_is_told_of_the_first(bench: Bench) -> None:
    trial = summed(bench, BOIL)
    typed = {"event": reference(EventKind.BOIL, 100.25, None), "do": "delete", "zero_s": "60", "seen": "0"}
    first = await post(bench, f"/trials/{trial}/correct/event", who="Ana", why="no bubbles", **typed)
    second = await post(bench, f"/trials/{trial}/correct/event", who="Ben", why="it stalled", **typed)
    assert (first.status, second.status) == (303, 422)
    assert "changed already" in second.text
    plans = [await post(bench, f"/trials/{trial}/correct/plan", who=who, plan="", seen="1") for who in ("Ana", "Ben")]
    assert [answer.status for answer in plans] == [303, 422]
    assert "Ana changed the plan meanwhile" in plans[1].text


async def test_another_sites_page_corrects_nothing(bench: Bench) -> None:
    trial = summed(bench)
    for headers in ({"origin": "http://elsewhere.example"}, {"sec-fetch-site": "cross-site"}):
        answer = await post(bench, f"/trials/{trial}/correct/counting", headers, who="Eve", why="x", do="exclude")
        assert answer.status == 403
    assert bench.store.corrections(trial) == []


async def test_an_undo_that_others_build_on_is_refused_at_its_place(bench: Bench) -> None:
    trial = summed(bench, BOIL)
    await post(bench, f"/trials/{trial}/correct/weights", who="Ana", **{"fuel.char_left_g": "60"})
    await post(bench, f"/trials/{trial}/correct/weights", who="Ben", **{"fuel.char_left_g": "61"})
    answer = await post(bench, f"/trials/{trial}/correct/undo", who="Ana", of="1", seen="2")
    assert answer.status == 422
    assert "correction 2 by Ben builds on this one: undo that first" in answer.text
    assert (await post(bench, f"/trials/{trial}/correct/undo", who="Ana", of="2", seen="2")).status == 303


async def test_a_summary_that_is_missing_or_of_an_earlier_version_is_worked_out_once(bench: Bench) -> None:
    trial = bench.imported(LIT)
    for _ in range(2):
        assert "data-waited-for" in (await asked(pages(bench), "GET", f"/trials/{trial}")).text
    assert bench.due == [Ended("shed", trial, provisional=False)]


async def test_an_excluded_trial_says_so_and_may_count_again(bench: Bench) -> None:
    trial = summed(bench)
    await bench.desk.correct(trial, Exclude(), By("Ben", "a door & a window"))
    text = (await asked(pages(bench), "GET", f"/trials/{trial}")).text
    assert "Excluded, does not count: a door &amp; a window (Ben)" in text
    assert "Let it count again" in text


async def test_a_running_trial_leads_to_its_live_page_and_can_be_corrected(bench: Bench) -> None:
    name = await bench.running(LIT)
    await bench.desk.correct(name, AddEvent(EventKind.BOIL, 100.0, 1.0), By("Ana", ""))
    text = (await asked(pages(bench), "GET", f"/trials/{name}")).text
    assert 'href="/bench/yard">see it live' in text
    assert "Figures come when the flame is out" in text
    assert "set by Ana" in text
    assert "data-waited-for" not in text
    assert bench.due == []


async def test_a_plan_that_nobody_can_read_any_more_is_shown_as_it_is(bench: Bench) -> None:
    trial = bench.store.create_trial(bench="shed", start_ns=1, origin="import", plan_text="not TOML").id
    bench.store.end_trial(trial, SECOND_NS)
    assert "not TOML</textarea>" in (await asked(pages(bench), "GET", f"/trials/{trial}")).text
