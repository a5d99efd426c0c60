"""An alarm on the live page: seen from three metres, read out, acknowledged by a thumb."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import pytest_asyncio
from playwright.async_api import Browser, expect

from browser_fixture import SIZES, LiveSite, Size, live_site, visiting
from tipping_fixture import tipping_options

pytestmark = [pytest.mark.asyncio(loop_scope="module"), pytest.mark.timeout(240)]

RECORD_S = 3_000.0
TITLE = "The load is gone: the stove may have tipped over"


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def site(tmp_path_factory: pytest.TempPathFactory) -> AsyncIterator[LiveSite]:
    """A bench whose stove tips over soon."""
    folder = tmp_path_factory.mktemp("alarms")
    options = tipping_options(folder, RECORD_S)
    async with live_site(folder, *options, speed=20.0, duration_s=RECORD_S) as site:
        yield site


async def test_an_alarm_is_shown_read_out_and_acknowledged(browser: Browser, site: LiveSite, artifacts: Path) -> None:
    for index, size in enumerate(SIZES):
        await _visit(browser, site, artifacts, size, first=index == 0)


async def _visit(browser: Browser, site: LiveSite, artifacts: Path, size: Size, *, first: bool) -> None:
    async with visiting(browser, site.url, size, artifacts) as visit:
        page = visit.page
        await visit.open("/")
        alarm = page.locator("[data-alarm]")
        await expect(alarm.locator("h2")).to_contain_text(TITLE, timeout=90_000)
        assert await alarm.count() == 1
        if first:
            await expect(page.locator("[data-alarms-told]")).to_contain_text(f"Alarm: {TITLE}")
            await visit.check_access()
            await visit.keep("alarm")
            await alarm.locator('input[name="who"]').fill("Ada")
            await alarm.locator("button").click()
            await expect(page.locator("[data-told]")).to_contain_text("Acknowledged: The load is gone")
        await expect(alarm.locator("[data-state]")).to_contain_text("Acknowledged by Ada.")
        await expect(alarm.locator("form")).to_have_count(0)
        await visit.check_access()
        await visit.keep("alarm-acknowledged")
        where = await page.locator("[data-where]").inner_text()
        trial = where.split()[1]
        await visit.open(f"/trials/{trial}")
        row = page.locator("section", has=page.locator("#alarms")).locator("tbody tr")
        await expect(row).to_contain_text(TITLE)
        await expect(row).to_contain_text("by Ada, after")
        await visit.check_access()
        await visit.keep("trial-alarms")
