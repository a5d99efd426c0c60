"""The door: every page asks for the token where other machines can reach it."""

import re
import stat
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from starlette.routing import Match, Route
from starlette.types import ASGIApp

from emberline.service.clock import Clock
from emberline.service.health import HealthWatch
from emberline.store.store import Store
from emberline.web.door import COOKIE, TOKEN_FILE, is_loopback, link_of, token_of
from emberline.web.site import site
from web_fixture import asked

TOKEN = "a-token-of-the-tests"  # noqa: S105 made up


async def nothing(_: str, __: str) -> bytes:
    return b""


def pages(store: Store, token: str | None = TOKEN) -> ASGIApp:
    watch = HealthWatch(Clock(1.0, 0, 0.0, lambda: 0.0))
    daemon: Any = SimpleNamespace(
        store=store,
        lanes={},
        desk=None,
        inventory=None,
        guides=None,
        health=watch,
        figures=lambda _: None,
        summaries=None,
    )
    return site(daemon, "0.1.0", nothing, token)


def routes(app: Any) -> list[Route]:
    inner = app
    while not hasattr(inner, "routes"):
        inner = inner._app
    # Whatever else a router may hold, such as a folder of files, would have to be asked here, too.
    assert all(type(route) is Route for route in inner.routes)
    return list(inner.routes)


@pytest.mark.parametrize(
    ("host", "alone"),
    [
        ("127.0.0.1", True),
        ("::1", True),
        ("localhost", True),
        ("127.8.8.8", True),
        ("0.0.0.0", False),  # noqa: S104 a name to be told apart
        ("::", False),
        ("bench.local", False),
    ],
)
def test_which_hosts_are_this_machines_alone(host: str, alone: bool) -> None:
    assert is_loopback(host) is alone


def test_the_token_is_made_once_and_read_by_its_owner_alone(tmp_path: Path) -> None:
    token = token_of(tmp_path)
    assert len(token) == 32
    assert token_of(tmp_path) == token
    assert stat.S_IMODE((tmp_path / TOKEN_FILE).stat().st_mode) == 0o600
    (tmp_path / TOKEN_FILE).write_text("my-own\n")
    assert token_of(tmp_path) == "my-own"


async def test_no_route_answers_without_the_token(store: Store) -> None:
    app = pages(store)
    found = routes(app)
    assert len(found) > 25
    for route in found:
        path = re.sub(r"\{\w+\}", "x", route.path)
        assert route.matches({"type": "http", "method": "GET", "path": path, "root_path": ""})[0] is not Match.NONE
        for method in sorted({*(route.methods or ()), "GET", "POST", "OPTIONS", "DELETE"}):
            answer = await asked(app, method, path, {"host": "127.0.0.1:8437"})
            assert answer.status == 401, (method, path)
            assert TOKEN not in answer.text
    # The answer does not tell what exists, and is given before anything that was sent is read.
    for path in ("/nowhere", "/trials/", "//", "*", "/static/../door.py"):
        assert (await asked(app, "GET", path)).status == 401
    large = {"host": "127.0.0.1:8437", "content-length": "99999999"}
    assert (await asked(app, "POST", "/inventory", large)).status == 401


@pytest.mark.parametrize(
    "headers",
    [
        {"authorization": f"Bearer {TOKEN}"},
        {"cookie": f"other=1; {COOKIE}={TOKEN}"},
    ],
)
async def test_who_has_the_token_comes_in(store: Store, headers: dict[str, str]) -> None:
    assert (await asked(pages(store), "GET", "/trials", headers)).status == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"authorization": "Bearer wrong"},
        {"authorization": f"Basic {TOKEN}"},
        {"cookie": f"{COOKIE}="},
        {"cookie": ";;=;\x01"},
        {"authorization": "Bearer e"},
        {},
    ],
)
async def test_who_has_not_stays_outside(store: Store, headers: dict[str, str]) -> None:
    answer = await asked(pages(store), "GET", "/trials?token=wrong", headers)
    assert answer.status == 401
    assert "emberline link" in answer.text


async def test_the_link_gives_a_cookie_and_leaves_the_address(store: Store) -> None:
    answer = await asked(pages(store), "GET", f"/trials?text=a+b&token={TOKEN}")
    assert answer.status == 303
    assert answer.headers["location"] == "/trials?text=a+b"
    cookie = answer.headers["set-cookie"]
    assert f"{COOKIE}={TOKEN}" in cookie
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert "Secure" not in cookie


async def test_alone_on_a_machine_nobody_is_asked(store: Store) -> None:
    assert (await asked(pages(store, None), "GET", "/trials")).status == 200


@pytest.mark.parametrize(
    ("url", "link"),
    [
        ("http://192.0.2.7:8437/", f"http://192.0.2.7:8437/?token={TOKEN}"),
        ("http://[2001:db8::1]:80/", f"http://[2001:db8::1]:80/?token={TOKEN}"),
    ],
)
def test_a_link_holds_the_token(url: str, link: str) -> None:
    assert link_of(url, TOKEN) == link


def test_an_address_for_all_becomes_one_that_others_can_open() -> None:
    assert "0.0.0.0" not in link_of("http://0.0.0.0:8437/", TOKEN)  # noqa: S104 a name to be told apart
