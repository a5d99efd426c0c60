"""The overlay without a browser."""

from types import SimpleNamespace
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.types import ASGIApp

from emberline.web.frame import ERRORS, Guard
from emberline.web.overlay_page import FIGURES, overlay_routes
from web_fixture import asked


def pages() -> ASGIApp:
    daemon: Any = SimpleNamespace(lanes={"yard": None})
    return Guard(Starlette(routes=overlay_routes(daemon), exception_handlers=ERRORS))


async def test_the_figures_that_are_asked_for_are_there() -> None:
    usual = (await asked(pages(), "GET", "/bench/yard/overlay")).text
    assert [name for name in FIGURES if f'data-reading="{name}"' in usual] == [
        "water",
        "burning_rate_g_min",
        "firepower_w",
    ]
    chosen = (await asked(pages(), "GET", "/bench/yard/overlay?show=mass,evil,flame")).text
    assert [name for name in FIGURES if f'data-reading="{name}"' in chosen] == ["flame", "mass"]


@pytest.mark.parametrize(
    ("path", "status", "why"),
    [("/bench/shed/overlay", 404, "No bench"), ("/bench/yard/overlay?show=evil", 400, "show= takes any of water")],
)
async def test_what_is_not_there_is_told_in_words(path: str, status: int, why: str) -> None:
    answer = await asked(pages(), "GET", path)
    assert answer.status == status
    assert why in answer.text
