"""What all pages share, in a browser."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import pytest_asyncio
from playwright.async_api import Browser

from browser_fixture import DESKTOP, PHONE, SIZES, LiveSite, Size, live_site, visiting

pytestmark = pytest.mark.asyncio(loop_scope="module")


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def site(tmp_path_factory: pytest.TempPathFactory) -> AsyncIterator[LiveSite]:
    async with live_site(tmp_path_factory.mktemp("frame"), speed=5.0) as site:
        yield site


@pytest.mark.parametrize("size", SIZES, ids=lambda size: size.name)
async def test_an_unknown_address_is_told_in_words(
    browser: Browser, site: LiveSite, artifacts: Path, size: Size
) -> None:
    async with visiting(browser, site.url, size, artifacts, expected=["404"]) as visit:
        answer = await visit.page.goto(site.url + "nowhere")
        assert answer is not None
        assert answer.status == 404
        assert await visit.page.inner_text("h1") == "There is nothing here"
        await visit.check_access()
        await visit.keep("error")


async def test_the_scheme_that_a_person_chose_is_kept(browser: Browser, site: LiveSite, artifacts: Path) -> None:
    async with visiting(browser, site.url, PHONE, artifacts, color_scheme="dark") as visit:
        await visit.open("/")
        paper = "getComputedStyle(document.body).backgroundColor"
        dark = await visit.page.evaluate(paper)
        await visit.page.click("[data-scheme]:is(button)")
        light = await visit.page.evaluate(paper)
        assert light != dark
        await visit.page.reload()
        assert await visit.page.evaluate(paper) == light


async def test_the_first_key_leads_past_the_bar(browser: Browser, site: LiveSite, artifacts: Path) -> None:
    async with visiting(browser, site.url, DESKTOP, artifacts) as visit:
        await visit.open("/")
        await visit.page.keyboard.press("Tab")
        assert await visit.page.evaluate("document.activeElement.textContent") == "To the page's content"
        await visit.page.keyboard.press("Enter")
        assert await visit.page.evaluate("document.activeElement.id") == "main"
