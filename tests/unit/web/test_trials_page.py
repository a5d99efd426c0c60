"""The list of trials without a browser: what an address asks for, and what is told."""

import json
import re
import sqlite3
import time
from types import SimpleNamespace
from typing import Any

from starlette.applications import Starlette
from starlette.datastructures import QueryParams
from starlette.types import ASGIApp

from emberline.reports.catalogue import Wanted
from emberline.store.store import Store
from emberline.web.frame import ERRORS, Guard
from emberline.web.trials_page import trials_routes, wanted_of
from unit.store.made_up import NOON_NS, SECOND_NS
from unit.web.test_trial_words import LISTING
from web_fixture import asked


def pages(store: Store) -> ASGIApp:
    daemon: Any = SimpleNamespace(store=store, lanes={"yard": None})
    return Guard(Starlette(routes=trials_routes(daemon), exception_handlers=ERRORS))


def enter(store: Store, name: str, **listing: object) -> str:
    trial = store.create_trial(bench="yard", start_ns=NOON_NS, zone="Europe/Vienna")
    store.end_trial(trial.id, NOON_NS + SECOND_NS)
    told = {**LISTING, "label": name, "absent": {}, "corrected": False, "unconfirmed_boil": False, **listing}
    store.save_summary(trial.id, "{}", "0.1.0", json.dumps(told))
    return trial.id


def test_an_address_says_what_is_wanted_and_nonsense_is_left_out() -> None:
    query = QueryParams("text=+a++b&factor.holes=12+x&factor.fuel=&bench=yard&sort=burn_time&order=up&page=3")
    assert wanted_of(query) == Wanted("a b", {"holes": "12 x"}, "yard", "burn_time", falling=False, page=3)
    assert wanted_of(QueryParams("sort=evil&order=x&page=-1")) == Wanted()
    assert wanted_of(QueryParams("page=99999999999999999999")) == Wanted()


async def test_an_empty_store_says_what_to_do(store: Store) -> None:
    text = (await asked(pages(store), "GET", "/trials")).text
    assert "No trial yet" in text
    assert "emberline import burn.csv" in text
    assert 'href="/bench/yard"' in text


async def test_a_trial_shows_its_figures_flags_and_small_curve(store: Store) -> None:
    name = enter(
        store, "chips <b>", excluded="a door & a window", unconfirmed_boil=True, corrected=True,
        absent={"burn_time": "it burns on"}, spark=[1.0, 5.0, 3.0],
    )  # fmt: skip
    text = (await asked(pages(store), "GET", "/trials")).text
    for expected in (
        f'href="/trials/{name}">chips &lt;b&gt;', "1500 ± 10 s", "2025-11-25 13:00 +01:00",
        "excluded: a door &amp; a window", "incomplete: it burns on",
        "boil unconfirmed", "corrected", "<path d=", "up to 5.0 g/min", "1 to 1 of 1",
    ):  # fmt: skip
        assert expected in text.replace("\N{NO-BREAK SPACE}", " ")


async def test_a_running_trial_leads_to_its_bench(store: Store) -> None:
    store.create_trial(bench="yard", start_ns=NOON_NS, label="now")
    assert 'href="/bench/yard">burning now' in (await asked(pages(store), "GET", "/trials")).text


async def test_what_is_not_found_leads_back(store: Store) -> None:
    enter(store, "chips")
    text = (await asked(pages(store), "GET", "/trials?text=nowhere")).text
    assert "No trial is like that" in text
    assert 'value="nowhere"' in text


async def test_columns_sort_both_ways_and_keep_what_was_looked_for(store: Store) -> None:
    enter(store, "slow", results={"burn_time": [1500.0, 5.0, "s"]})
    enter(store, "fast", results={"burn_time": [900.0, 5.0, "s"]})
    text = (await asked(pages(store), "GET", "/trials?text=s&sort=burn_time&order=up")).text
    assert re.findall(r'href="/trials/[^"]*">(\w+)', text) == ["fast", "slow"]
    assert 'aria-sort="ascending"' in text
    assert 'href="/trials?text=s&amp;sort=burn_time"' in text


async def test_a_thousand_trials_are_listed_a_page_at_a_time_in_a_moment(store: Store) -> None:
    store._writer.run(_enter_a_thousand)
    started = time.monotonic()
    text = (await asked(pages(store), "GET", "/trials?page=2")).text
    assert time.monotonic() - started < 5.0
    assert "51 to 100 of 1000" in text
    assert text.count("<svg") == 50
    assert 'rel="next" href="/trials?page=3"' in text
    assert 'rel="prev" href="/trials"' in text


def _enter_a_thousand(connection: sqlite3.Connection) -> None:
    """Enter trials with their listings in one step; a thousand commits would take the disk half a minute."""
    connection.execute("INSERT INTO benches VALUES ('yard', 0)")
    listing = json.dumps(LISTING | {"spark": [1, 2]})
    for number in range(1000):
        connection.execute(
            "INSERT INTO trials (id, bench, origin, start_ns, end_ns, zone, relative, remarks, created_ns)"
            " VALUES (?, 'yard', 'live', ?, ?, 'UTC', 0, '', 0)",
            (f"t{number}", NOON_NS + number, NOON_NS + number + 1),
        )
        row = (f"t{number}", listing, number + 1)
        connection.execute(
            "INSERT INTO results (trial, version, written_ns, document, listing, change)"
            " VALUES (?, '0.1.0', 0, '{}', ?, ?)",
            row,
        )
