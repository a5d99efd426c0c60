"""The pages of trials in a browser: looked through, looked at closely, corrected, and taken back."""

import re
from collections.abc import AsyncIterator
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import pytest
import pytest_asyncio
from PIL import Image
from playwright.async_api import Browser, FilePayload, Page, expect

from browser_fixture import DESKTOP, PHONE, SIZES, Size, Visit, pages_of, until_true, visiting
from daemon_fixture import daemon_process
from emberline import app
from emberline.app import STORE_NAME
from emberline.store.reader import StoreReader
from emberline_sim.files import write_csv, write_plan
from stored_burn import recording

pytestmark = pytest.mark.asyncio(loop_scope="module")

SUMMARY_MS = 60_000.0
"""Longest wait for a summary that is worked out anew, with a margin for a busy machine."""
expect.set_options(timeout=20_000.0)


@dataclass(frozen=True)
class Site:
    """Pages of a daemon whose store holds two imported burns.

    Attributes:
        url: Their address, with a slash at its end.
        store: Its store.
        trials: The trials' ids, the one to look at and the one to correct.
    """

    url: str
    store: StoreReader
    trials: tuple[str, str]


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def site(tmp_path_factory: pytest.TempPathFactory) -> AsyncIterator[Site]:
    folder = tmp_path_factory.mktemp("trials")
    names = []
    # The same readings twice would be one trial.
    for label, length_s in (("sticks, to look at", 780.0), ("sticks, to correct", 790.0)):
        burn = recording(str(folder), length_s)
        write_csv(burn, folder / "burn.csv")
        write_plan(burn, folder / "plan.toml")
        names.append(
            app.import_burn(
                folder / "burn.csv", folder / "data", plan_text=(folder / "plan.toml").read_text(), label=label
            ).trial.id
        )
    words = ("--port", str(folder / "no-device"), "--http", "127.0.0.1:0")
    async with daemon_process(folder / "data", *words) as daemon:
        url = await pages_of(daemon.log)
        yield Site(url, StoreReader(folder / "data" / STORE_NAME), (names[0], names[1]))


async def renewed(page: Page) -> None:
    """Wait until the page says that the summary is worked out anew, and then until it shows it by itself."""
    await expect(page.locator("[data-waiting]")).to_be_visible()
    await expect(page.locator("[data-waiting]")).to_be_hidden(timeout=SUMMARY_MS)


async def curves(visit: Visit) -> None:
    """Wait until the curves are drawn."""
    await expect(visit.page.locator("[data-plots] figure")).to_have_count(5)
    await expect(visit.page.locator("[data-plots] canvas").first).to_be_visible()


async def span(page: Page) -> str:
    """Return what part of the burn is shown, as the ticks of the time axis tell it."""
    told: str = await page.evaluate("document.querySelector('[data-plots]').dataset.span")
    return told


@pytest.mark.parametrize("size", SIZES, ids=lambda size: size.name)
@pytest.mark.parametrize("scheme", ["light", "dark"])
async def test_trials_are_looked_through(
    browser: Browser, site: Site, artifacts: Path, size: Size, scheme: str
) -> None:
    async with visiting(browser, site.url, size, artifacts, color_scheme=scheme) as visit:
        page = visit.page
        await visit.open("/trials")
        await expect(page.locator("tbody tr")).to_have_count(2)
        await visit.check_access()
        await visit.keep(f"trials-{scheme}")
        await page.fill("#text", "look")
        await page.press("#text", "Enter")
        await expect(page.locator("tbody tr")).to_have_count(1)
        await expect(page.locator(".spark path")).to_have_count(1)
        await page.click("text=All trials")
        await page.click("summary")
        await page.select_option("#sort", "burn_time")
        await page.wait_for_url("**/trials?sort=burn_time")
        await page.click("tbody a >> nth=0")
        await page.wait_for_url("**/trials/2*")


async def test_nothing_found_and_nothing_there_say_what_to_do(browser: Browser, site: Site, artifacts: Path) -> None:
    async with visiting(browser, site.url, PHONE, artifacts) as visit:
        await visit.open("/trials?text=granite")
        await expect(visit.page.locator("main")).to_contain_text("No trial is like that")
        await visit.check_access()


@pytest.mark.parametrize("size", SIZES, ids=lambda size: size.name)
@pytest.mark.parametrize("scheme", ["light", "dark"])
async def test_a_trial_is_looked_at_closely(
    browser: Browser, site: Site, artifacts: Path, size: Size, scheme: str
) -> None:
    async with visiting(browser, site.url, size, artifacts, color_scheme=scheme) as visit:
        page = visit.page
        await visit.open(f"/trials/{site.trials[0]}")
        await curves(visit)
        for details in await page.locator("main details").all():
            await details.evaluate("one => { one.open = true; }")
        await visit.check_access()
        await visit.keep(f"trial-{scheme}")
        whole = await span(page)
        await page.click("[data-zoom=in]")
        assert await span(page) != whole
        await page.click("[data-zoom=all]")
        assert await span(page) == whole
        await page.focus("[data-plots]")
        await page.keyboard.press("+")
        await page.keyboard.press("ArrowRight")
        closer = await span(page)
        assert closer != whole
        await page.keyboard.press("0")
        assert await span(page) == whole
        # An event that is chosen on the curves is chosen in the form.
        await page.click("[data-marks] button:has-text('boil')")
        assert (await page.input_value("#event-event")).startswith("boil ")
        await expect(page.locator("tr.chosen th")).to_have_text(re.compile("boil"))


async def test_dragging_looks_closer_and_a_click_picks_a_moment(browser: Browser, site: Site, artifacts: Path) -> None:
    async with visiting(browser, site.url, DESKTOP, artifacts) as visit:
        page = visit.page
        await visit.open(f"/trials/{site.trials[0]}")
        await curves(visit)
        over = page.locator(".u-over").first
        await over.scroll_into_view_if_needed()
        box = await over.bounding_box()
        assert box is not None
        whole = await span(page)
        await page.mouse.move(box["x"] + box["width"] * 0.3, box["y"] + box["height"] / 2)
        await page.mouse.down()
        await page.mouse.move(box["x"] + box["width"] * 0.6, box["y"] + box["height"] / 2, steps=5)
        await page.mouse.up()
        await until_true(lambda: _other(page, whole), "the part that was dragged over")
        assert await page.input_value("#event-t") == ""
        await page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        await expect(page.locator("#event-t")).to_have_value(re.compile(r"^\d+:\d\d\.\d$"))


async def test_two_fingers_look_closer_and_a_tap_picks(browser: Browser, site: Site, artifacts: Path) -> None:
    async with visiting(browser, site.url, PHONE, artifacts) as visit:
        page = visit.page
        await visit.open(f"/trials/{site.trials[0]}")
        await curves(visit)
        over = page.locator(".u-over").first
        await over.scroll_into_view_if_needed()
        box = await over.bounding_box()
        assert box is not None
        whole = await span(page)
        hand = await page.context.new_cdp_session(page)
        left, middle, y = box["x"], box["x"] + box["width"] / 2, box["y"] + box["height"] / 2

        async def touch(kind: str, *places: float) -> None:
            points = [{"x": x, "y": y, "id": number} for number, x in enumerate(places)]
            await hand.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

        await touch("touchStart", middle - 20, middle + 20)
        for apart in (40, 70, 100):
            await touch("touchMove", middle - apart, middle + apart)
        await touch("touchEnd")
        closer = await span(page)
        assert closer != whole
        await touch("touchStart", middle)
        for moved in (20, 40, 60):
            await touch("touchMove", middle - moved)
        await touch("touchEnd")
        assert await span(page) not in (whole, closer)
        await page.touchscreen.tap(left + box["width"] / 3, y)
        await expect(page.locator("#event-t")).to_have_value(re.compile(r"^-?\d+:\d\d\.\d$"))


async def _other(page: Page, whole: str) -> bool:
    return await span(page) != whole


async def test_an_event_is_moved_and_taken_back(browser: Browser, site: Site, artifacts: Path) -> None:
    trial = site.trials[1]
    before = len(site.store.corrections(trial))
    async with visiting(browser, site.url, DESKTOP, artifacts) as visit:
        page = visit.page
        await visit.open(f"/trials/{trial}")
        await curves(visit)
        boil = page.locator(".events tr", has=page.locator("th", has_text="boil"))
        found = await boil.locator("td.n").nth(1).inner_text()
        await boil.locator("[data-choose]").click()
        await page.fill("#event-t", "noon")
        await page.fill("#event-why", "the lid rattled")
        await page.fill("#event-who", "Ana")
        await page.click("#form-event button.first")
        await expect(page.locator("#form-event [data-refusal=t]")).to_contain_text("'noon' is no moment")
        await expect(page.locator("#event-why")).to_have_value("the lid rattled")
        await page.fill("#event-t", "2:55")
        await page.fill("#event-u", "1.5")
        await visit.keep("correcting")
        await page.click("#form-event button.first")
        await expect(boil.locator("td.n").nth(1)).to_contain_text("2:55")
        await renewed(page)
        await expect(page.locator("#history + ol li").first).to_contain_text("the lid rattled")
        await expect(page.locator(".headline", has_text="Time to boil")).to_be_visible()
        await visit.check_access()
        await visit.keep("corrected")
        document = site.store.summary(trial)
        assert document is not None
        assert '"why": "the lid rattled"' in document.document
        await page.click("#history + ol li:first-child summary")
        undo = page.locator("#history + ol li").first.locator("form")
        await expect(undo.locator("[name=who]")).to_have_value("Ana")
        await undo.locator("button").click()
        await expect(page.locator("#history + ol li").first).to_contain_text("taken back")
        # What the curves say is known again once they have been read anew.
        await renewed(page)
        await expect(boil.locator("td.n").nth(1)).to_have_text(found)
    assert len(site.store.corrections(trial)) == before + 2


async def test_weights_exclusion_and_plan_are_corrected_on_a_phone(
    browser: Browser, site: Site, artifacts: Path
) -> None:
    trial = site.trials[1]
    async with visiting(browser, site.url, PHONE, artifacts) as visit:
        page = visit.page
        await visit.open(f"/trials/{trial}")
        await page.click("text=Weights afterwards")
        await page.fill("[name='fuel.char_left_g']", "6000")
        await page.fill("#weights-who", "Ben")
        await page.click("#form-weights button.first")
        await expect(page.locator("[data-refusal='fuel.char_left_g']")).to_contain_text("more than")
        await page.fill("[name='fuel.char_left_g']", "9,5")
        await page.click("#form-weights button.first")
        await renewed(page)
        await expect(page.locator("dl")).to_contain_text("char 9.5")
        picture = BytesIO()
        Image.new("RGB", (60, 40), "sienna").save(picture, "JPEG")
        taken = FilePayload(name="soot.jpg", mimeType="image/jpeg", buffer=picture.getvalue())
        await page.set_input_files("#photo", taken)
        await expect(page.locator(".photos img")).to_have_count(1)
        await page.click("text=Add a remark")
        await page.fill("#remark-why", "the wind got up")
        await page.fill("#remark-t", "3:00")
        await page.click("#form-remark button.first")
        await expect(page.locator(".events tr", has_text="remark")).to_contain_text("the wind got up")
        await page.click("text=Exclude this trial")
        await page.fill("#counting-why", "a door stood open")
        await page.click("#form-counting button.warn")
        await expect(page.locator(".excluded")).to_contain_text("a door stood open (Ben)")
        await renewed(page)
        await visit.check_access()
        await visit.keep("corrected")
        await visit.open("/trials")
        await expect(page.locator("tr.excluded .flags")).to_contain_text("excluded: a door stood open")
        await visit.keep("trials-flagged")


@pytest.mark.parametrize("size", SIZES, ids=lambda size: size.name)
async def test_without_scripts_it_all_works(browser: Browser, site: Site, artifacts: Path, size: Size) -> None:
    trial = site.trials[1]
    async with visiting(browser, site.url, size, artifacts, java_script_enabled=False, expected=["422"]) as visit:
        page = visit.page
        await visit.open("/trials")
        await page.click("summary")
        await page.select_option("#sort", "burn_time")
        await page.click("button[type=submit]")
        await page.wait_for_url("**sort=burn_time**")
        await visit.open(f"/trials/{trial}")
        await expect(page.locator("img.picture")).to_be_visible()
        row = page.locator(".events tr", has=page.locator("th", has_text="flameout"))
        await row.locator("a").click()
        await expect(page.locator("#event-event")).to_have_value(re.compile("^flameout "))
        await page.fill("#event-t", "soon")
        await page.fill("#event-why", "saw it die")
        await page.fill("#event-who", "Eva")
        await page.click("#form-event button.first")
        await expect(page.locator("#form-event [data-refusal=t]")).to_contain_text("'soon' is no moment")
        await expect(page.locator("#event-who")).to_have_value("Eva")
        await visit.keep("refused-without-scripts")


@pytest.mark.parametrize("size", SIZES, ids=lambda size: size.name)
async def test_a_burn_is_taken_away_and_laid_over_another(
    browser: Browser, site: Site, artifacts: Path, size: Size
) -> None:
    async with visiting(browser, site.url, size, artifacts) as visit:
        await visit.open(f"/trials/{site.trials[0]}")
        for link, begins in (("square", b"\x89PNG"), ("All of it", b"PK")):
            async with visit.page.expect_download(timeout=SUMMARY_MS) as download:
                await visit.page.click(f"#files ~ ul >> text={link}")
            assert (await (await download.value).path()).read_bytes().startswith(begins)
        # Other tests may have excluded the second one, which is left out then.
        one, other = site.trials
        await visit.open(f"/compare?pick.{one}=A&pick.{other}=B")
        await expect(visit.page.locator("[data-overlay-told]")).to_contain_text(
            re.compile(r"[12] burns?, minutes from lit")
        )
        await expect(visit.page.locator(".overlay canvas")).to_be_visible()
        await visit.page.select_option("#align", "pot_on")
        await expect(visit.page.locator("[data-overlay-told]")).to_contain_text("minutes from pot on")
        await visit.check_access()
        await visit.keep("compared-burns")
