"""The comparison page without a browser: what an address asks for, and what is told."""

from types import SimpleNamespace
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.datastructures import QueryParams
from starlette.types import ASGIApp

from compared_fixture import fill
from emberline.service.comparisons import Query
from emberline.store.store import Store
from emberline.web.compare_page import compare_routes, query_of
from emberline.web.frame import ERRORS, Guard
from web_fixture import asked


def pages(store: Store) -> ASGIApp:
    daemon: Any = SimpleNamespace(store=store)
    return Guard(Starlette(routes=compare_routes(daemon), exception_handlers=ERRORS))


@pytest.mark.parametrize(
    ("address", "query"),
    [
        ("by=holes&by=fuel&factor.pot=small&factor.lid=", Query(("holes", "fuel"), {"pot": "small"})),
        (
            "series=holes-1&wished=12,5&result=burn_time&result=evil",
            Query(series="holes-1", results=("burn_time",), wished=12.5),
        ),
        ("pick.a=B&pick.b=A&pick.c=&pick.d=Z", Query(groups={"A": ("b",), "B": ("a",)})),
        ("", Query()),
    ],
)
def test_an_address_says_what_is_wanted(address: str, query: Query) -> None:
    assert query_of(QueryParams(address)) == (query, "")


@pytest.mark.parametrize(
    ("address", "why"),
    [
        ("by=holes&wished=much", "'much' is no number"),
        ("by=holes&wished=-1", "above zero"),
        ("by=a&series=b", "one way at a time"),
    ],
)
def test_what_cannot_be_wanted_is_told(address: str, why: str) -> None:
    assert why in query_of(QueryParams(address))[1]


async def test_an_empty_store_says_what_it_takes(store: Store) -> None:
    text = (await asked(pages(store), "GET", "/compare")).text
    assert "No trial yet" in text
    assert "carbon monoxide" in text.lower()


async def test_a_comparison_is_shown_and_can_be_taken_away(store: Store) -> None:
    fill(store)
    answer = await asked(pages(store), "GET", "/compare?by=holes")
    assert answer.status == 200
    text = answer.text.replace("\N{NO-BREAK SPACE}", " ")
    for expected in ("holes 12 boils 42 s sooner than holes 8", "left out: rain", "/compare/card.png?by=holes"):
        assert expected in text
    table = await asked(pages(store), "GET", "/compare/table.csv?by=holes")
    assert table.headers["content-type"].startswith("text/csv")
    lines = table.text.splitlines()
    assert len(lines) == 8
    assert ",holes 8,3,,402.0" in lines[1].replace("\N{NO-BREAK SPACE}", " ")
    assert ",,,rain," in lines[-1]
    card = await asked(pages(store), "GET", "/compare/card.svg?by=holes&square=1")
    assert card.headers["content-type"] == "image/svg+xml"


@pytest.mark.parametrize(
    "path", ["/compare/card.gif?by=holes", "/compare/table.csv?by=lid", "/compare/card.png?by=lid"]
)
async def test_what_is_not_there_is_told_in_words(store: Store, path: str) -> None:
    fill(store)
    answer = await asked(pages(store), "GET", path)
    assert answer.status == 404
    assert "A card is a" in answer.text or "the factors are: holes" in answer.text


async def test_a_refusal_keeps_what_was_chosen(store: Store) -> None:
    fill(store)
    answer = await asked(pages(store), "GET", "/compare?by=holes&wished=much")
    assert answer.status == 422
    assert "&#39;much&#39; is no number" in answer.text
    assert 'value="much"' in answer.text
    assert 'value="holes" checked' in answer.text
