"""A guided burn at a phone's size, from the inventory and the empty scale to the finished summary."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import pytest_asyncio
from playwright.async_api import Browser, Page

from browser_fixture import PHONE, Visit, pages_of, visiting
from emberline.bench.plan import parse_plan
from emberline.store.reader import StoreReader
from guided_fixture import FUEL_G, POT_G, STARTER_G, STOVE_G, WATER_G, HandledBench, handled_bench

pytestmark = [pytest.mark.asyncio(loop_scope="module"), pytest.mark.timeout(400)]
STEADY = "[data-take]:not([disabled])"
LIMIT_MS = 60_000.0


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def bench(tmp_path_factory: pytest.TempPathFactory) -> AsyncIterator[HandledBench]:
    async with handled_bench(tmp_path_factory.mktemp("guide"), "--http", "127.0.0.1:0", speed=30.0) as bench:
        yield bench


async def press(page: Page, words: str) -> None:
    """Press a button and wait for the next step."""
    step = await page.get_attribute("main", "data-step")
    await page.click(f'button:not([disabled]):has-text("{words}")')
    await page.wait_for_selector(f"main:not([data-step={step}])", timeout=LIMIT_MS)


async def take(visit: Visit, bench: HandledBench, grams: float, name: str) -> None:
    """Put something on the scale and take what it shows, once it is steady."""
    bench.does(f"put {grams}")
    await visit.page.wait_for_selector(STEADY, timeout=LIMIT_MS)
    await visit.keep(f"guide-{name}")
    await press(visit.page, "Take")


async def entered(visit: Visit, kind: str, **values: str) -> None:
    """Add an entry to the inventory."""
    form = f"section[aria-labelledby={kind}] > details"
    await visit.page.click(f"{form} > summary")
    for key, text in values.items():
        await visit.page.fill(f'{form} [name="{key}"]', text)
    async with visit.page.expect_navigation():
        await visit.page.click(f"{form} button")


async def test_a_burn_is_guided_with_one_hand(browser: Browser, bench: HandledBench, artifacts: Path) -> None:
    url = await pages_of(bench.daemon.log)
    async with visiting(browser, url, PHONE, artifacts) as visit:
        page = visit.page
        page.on("dialog", lambda dialog: dialog.accept())
        await visit.open("/inventory")
        await entered(visit, "lot", name="willow, spring", fuel="sticks", moisture_wet="10 ± 2", lhv_dry_j_g="18200")
        await entered(visit, "stove", name="paint can", tare_g="640")
        await visit.check_access()
        await visit.keep("inventory")

        await visit.open("/bench/bench/guide")
        await page.select_option("#lot", "willow, spring")
        await page.select_option("#stove", "paint can")
        await page.fill("#label", "sticks, first")
        await visit.check_access()
        await visit.keep("guide-begin")
        await press(page, "Begin")
        await page.wait_for_selector(STEADY, timeout=LIMIT_MS)
        await press(page, "Take it")
        bench.does("put 200")
        await page.fill('[name="load_cell.known_g"]', "500")
        await page.wait_for_selector(STEADY, timeout=LIMIT_MS)
        await page.click(STEADY)
        await page.wait_for_selector('[data-refusal=""]:has-text("is that the mass")')
        await visit.check_access()
        await page.fill('[name="load_cell.known_g"]', "200")
        await press(page, "Take 2")
        bench.does("clear")
        bench.does("dip")
        await page.wait_for_selector('[data-value]:has-text("13.0")', timeout=LIMIT_MS)
        await page.wait_for_selector(STEADY, timeout=LIMIT_MS)
        await press(page, "Take it")

        await take(visit, bench, STOVE_G, "stove")
        await take(visit, bench, FUEL_G, "fuel")
        await page.reload()  # what was answered is kept, and so is the question
        assert await page.inner_text("h1") == "Starter"
        await visit.check_access()
        await take(visit, bench, STARTER_G, "starter")
        await take(visit, bench, POT_G, "pot")
        await take(visit, bench, WATER_G, "water")
        await page.fill('[name="place.altitude_m"]', "0.2 km")
        await page.click('button:has-text("Use what I typed")')
        await page.wait_for_selector('[data-refusal="place.altitude_m"]:has-text("no number")')
        assert await page.input_value('[name="place.altitude_m"]') == "0.2 km"
        await page.fill('[name="place.altitude_m"]', "200")
        await press(page, "Use what I typed")
        await visit.check_access()
        await visit.keep("guide-ready")
        bench.does(f"take {POT_G + WATER_G}")
        await bench.shows(STOVE_G + FUEL_G + STARTER_G)
        await press(page, "Open the trial")

        bench.does("light")
        await page.wait_for_selector('[data-marks] li:has-text("lit")', timeout=LIMIT_MS)
        await visit.keep("guide-burn")
        await page.wait_for_selector("main[data-step=snuff]", timeout=LIMIT_MS)
        await press(page, "Smothered now")
        await page.wait_for_selector('[data-wait]:has-text("flame probe still shows")')
        assert await page.locator("[data-take]").count() == 0  # hot char is not suggested
        await visit.check_access()
        await visit.keep("guide-hot")
        await page.fill('[name="fuel.char_left_g"]', "14 ± 1")
        await press(page, "Use what I typed")
        await press(page, "Go on, and weigh it later")
        await press(page, "Go on, and weigh it later")
        await press(page, "Go on, and weigh it later")
        await page.wait_for_selector("[data-advice] li", timeout=LIMIT_MS)
        await visit.check_access()
        await visit.keep("guide-finish")
        await page.click('button:has-text("End the trial")')
        await page.wait_for_selector('main:not(:has(button:has-text("End the trial")))', timeout=LIMIT_MS)
        await page.click('text="The trial\'s page"')
        await page.wait_for_selector('h1:has-text("sticks, first")', timeout=LIMIT_MS)
    (trial,) = StoreReader(bench.daemon.data / "emberline.sqlite3").trials()
    plan = parse_plan(trial.plan_text)
    assert (plan.fuel.lot, plan.factors["stove"]) == ("willow, spring", "paint can")
    for value, true_g in ((plan.fuel.mass_g, FUEL_G), (plan.fuel.char_left_g, 14.0)):
        assert value is not None
        assert abs(value.n - true_g) < 3.0 * value.s
