"""Comparing, in a browser: from choosing to what is taken away; and the overlay."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import pytest_asyncio
from playwright.async_api import Browser, expect

from browser_fixture import SIZES, LiveSite, Size, live_site, visiting
from compared_fixture import fill
from emberline.app import STORE_NAME
from emberline.store.store import Store

pytestmark = pytest.mark.asyncio(loop_scope="module")

NO_CURVES = ["status of 404"]
"""The trials' summaries are made up: their curves are not there, and the page says so."""


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def site(tmp_path_factory: pytest.TempPathFactory) -> AsyncIterator[LiveSite]:
    folder = tmp_path_factory.mktemp("compare")
    (folder / "data").mkdir()
    with Store.open(folder / "data" / STORE_NAME) as store:
        fill(store)
    async with live_site(folder, speed=5.0) as site:
        yield site


@pytest.mark.parametrize("size", SIZES, ids=lambda size: size.name)
async def test_a_person_chooses_a_factor_and_reads_what_it_did(
    browser: Browser, site: LiveSite, artifacts: Path, size: Size
) -> None:
    async with visiting(browser, site.url, size, artifacts, expected=NO_CURVES) as visit:
        await visit.open("/compare")
        await visit.check_access()
        await visit.page.check("input[name=by][value=holes]")
        await visit.page.click("form[aria-label='Compare by factors'] button")
        said = (await visit.page.inner_text(".result .said >> nth=0")).replace("\N{NO-BREAK SPACE}", " ")
        assert said.startswith("holes 12 boils 42 s sooner than holes 8 (95 % interval ")
        assert await visit.page.locator(".strip .dot").count() == 12
        await visit.page.wait_for_selector("text=No burn has a burning rate and that event.")
        await visit.check_access()
        await visit.keep("compare")
        async with visit.page.expect_download() as download:
            await visit.page.click("text=Picture, square")
        assert (await (await download.value).path()).read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("size", SIZES, ids=lambda size: size.name)
async def test_the_overlay_is_transparent_and_shows_what_comes(
    browser: Browser, site: LiveSite, artifacts: Path, size: Size
) -> None:
    async with visiting(browser, site.url, size, artifacts) as visit:
        await visit.open("/bench/bench/overlay?show=water,mass")
        await expect(visit.page.locator("[data-reading=mass] b")).not_to_have_text("–", timeout=20_000)
        ground = "[document.documentElement, document.body].map((one) => getComputedStyle(one).backgroundColor)"
        assert await visit.page.evaluate(ground) == ["rgba(0, 0, 0, 0)"] * 2
        await visit.keep("overlay")
