"""The live page as people use it beside a fire: on a phone and on a desk's screen."""

import io
import re
import socket
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import pytest_asyncio
from PIL import Image
from playwright.async_api import Browser, Page, expect

from browser_fixture import DESKTOP, PHONE, SIZES, LiveSite, Size, Visit, live_site, until_true, visiting

pytestmark = [pytest.mark.asyncio(loop_scope="module"), pytest.mark.timeout(240)]


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def site(tmp_path_factory: pytest.TempPathFactory) -> AsyncIterator[LiveSite]:
    """A bench that is lit after a minute of its own, ten times as fast."""
    async with live_site(tmp_path_factory.mktemp("live"), speed=10.0, duration_s=1_500.0) as site:
        yield site


async def number(page: Page, name: str) -> float:
    """Return what a reading shows."""
    text = await page.inner_text(f'[data-reading="{name}"] [data-value]')
    return float(text.replace("\u2212", "-").replace("\u202f", "")) if text != "–" else float("nan")


def rgb(colour: str) -> str:
    """Return `#rrggbb` as a browser computes it."""
    return f"rgb({', '.join(str(int(colour[at : at + 2], 16)) for at in (1, 3, 5))})"


def photo() -> bytes:
    into = io.BytesIO()
    Image.new("RGB", (900, 1200), (150, 60, 20)).save(into, "JPEG")
    return into.getvalue()


@pytest.mark.parametrize("size", SIZES, ids=lambda size: size.name)
async def test_a_trial_from_its_start_to_its_end(browser: Browser, site: LiveSite, artifacts: Path, size: Size) -> None:
    async with visiting(browser, site.url, size, artifacts) as visit:
        page = visit.page
        await visit.open("/")
        await expect(page.locator("[data-recording-words]")).to_have_text("recording")
        await until_true(lambda: shown(page), "the readings")
        assert 10.0 < await number(page, "water") < 101.0
        await visit.check_access()
        await visit.keep("live-idle")
        await start(visit)
        await remark(visit)
        await stamp(visit)
        await attach(visit)
        await visit.check_access()
        await visit.keep("live-trial")
        await edit_plan(visit)
        page.once("dialog", lambda dialog: dialog.accept())
        await page.click("text=End the trial")
        await page.wait_for_url("**/trials/*")


async def shown(page: Page) -> bool:
    return await number(page, "mass") > 100.0


async def start(visit: Visit) -> None:
    page = visit.page
    await page.fill("#label", f"sticks, on a {visit.size.name}")
    await page.click("text=Start now")
    await expect(page.locator("h1")).to_have_text(f"sticks, on a {visit.size.name}")
    await expect(page.locator("text=End the trial")).to_be_visible()


async def remark(visit: Visit) -> None:
    page = visit.page
    await page.click("button:has-text('flame unsteady')")
    await expect(page.locator(".events .remark", has_text="flame unsteady").first).to_be_visible()
    await page.fill("#text", "closed two holes")
    await page.press("#text", "Enter")
    await expect(page.locator(".events .remark", has_text="closed two holes").first).to_be_visible()
    # The list is renewed by the stream of events, the field by the answer: either may come first.
    await expect(page.locator("#text")).to_have_value("")
    await page.locator("form.row button", has_text="Keep").first.click()
    await expect(page.locator('[data-refusal="text"]')).to_contain_text("write something first")


async def stamp(visit: Visit) -> None:
    page = visit.page
    await page.click(".stamps >> text=lit")
    await expect(page.locator('[data-refusal="who"]')).to_contain_text("say who you are")
    await page.fill("#who", "Ada")
    await page.fill("#ago", "3")
    await page.click(".stamps >> text=lit")
    await expect(page.locator('.events [data-kind="lit"]').first).to_contain_text("set by a person")
    # The name is kept on this device, and what was typed stays when the list is renewed.
    assert await page.input_value("#who") == "Ada"
    await expect(page.locator("[data-since-lit]")).not_to_have_text("–")


async def attach(visit: Visit) -> None:
    page = visit.page
    await page.set_input_files("#photo", {"name": "fire.jpg", "mimeType": "image/jpeg", "buffer": photo()})
    await expect(page.locator(".photos img").first).to_be_visible()
    await page.evaluate("document.querySelector('.photos').scrollIntoView()")
    await until_true(lambda: page.evaluate("document.querySelector('.photos img').naturalWidth > 0"), "the picture")
    await page.set_input_files("#photo", {"name": "note.jpg", "mimeType": "image/jpeg", "buffer": b"no picture"})
    await expect(page.locator('[data-refusal="photo"]')).to_contain_text("no photo that can be read")


async def edit_plan(visit: Visit) -> None:
    page = visit.page
    await page.click("text=Edit the plan")
    await visit.check_access()
    await visit.keep("plan")
    assert await page.input_value('[name="who"]') == "Ada"
    await page.fill('[name="fuel.mass_g"]', "60")
    await page.fill('[name="fuel.moisture_wet"]', "10")
    await page.click("text=Keep the plan")
    refusal = page.locator('[data-refusal="fuel.moisture_wet"]')
    await expect(refusal).to_contain_text("a percentage? write 0.11 for 11 %")
    assert await page.input_value('[name="fuel.mass_g"]') == "60"
    await page.fill('[name="fuel.moisture_wet"]', "0,10")
    await page.click("text=Keep the plan")
    await page.wait_for_url("**/bench/*")
    await expect(page.locator("text=Edit the plan")).to_be_visible()


async def test_without_scripts_everything_but_the_live_values_works(
    browser: Browser, site: LiveSite, artifacts: Path
) -> None:
    async with visiting(browser, site.url, PHONE, artifacts, expected=["422"], java_script_enabled=False) as visit:
        page = visit.page
        await visit.open("/")
        await page.fill("#text", " ")
        await page.locator("form.row button", has_text="Keep").first.click()
        await expect(page.locator('[data-refusal="text"]')).to_have_text("write something first")
        await visit.open("/")
        await page.fill("#label", "by plain forms")
        await page.click("text=Start now")
        await expect(page.locator("h1")).to_have_text("by plain forms")
        await page.fill("#text", "no script here")
        await page.locator("form.row button", has_text="Keep").first.click()
        await expect(page.locator(".events .remark").first).to_have_text("no script here")
        await page.click("text=End the trial")
        await page.wait_for_url("**/trials/*")


async def test_a_cable_pulled_amid_the_burn_leaves_nothing_that_looks_current(
    browser: Browser, tmp_path: Path, artifacts: Path
) -> None:
    async with (
        live_site(tmp_path, speed=12.0) as site,
        visiting(browser, site.url, DESKTOP, artifacts) as visit,
        visiting(browser, site.url, PHONE, artifacts, color_scheme="dark") as phone,
    ):
        await visit.open("/")
        await phone.open("/")
        await expect(visit.page.locator("[data-where]")).to_have_text("No trial is open")
        await visit.page.click("text=Start now")
        await expect(visit.page.locator("[data-where]")).to_have_text(re.compile(r"^Trial \S+$"))
        await expect(visit.page.locator('.events [data-kind="pot_on"]')).to_be_visible(timeout=60_000)
        # A forecast of the boil stands before the cable goes.
        await expect(visit.page.locator("[data-boil-aside]")).to_contain_text("from now", timeout=60_000)
        site.bench.process.terminate()
        for one in (visit, phone):
            page = one.page
            await expect(page.locator("[data-lost]")).to_be_hidden()
            await expect(page.locator("[data-phase]")).to_have_text("not known")
            await expect(page.locator("[data-phase-aside]")).to_contain_text(
                re.compile(r"^flaming until \d+:\d\d of record")
            )
            await expect(page.locator("[data-boil]")).to_have_text("–")
            await expect(page.locator("[data-boil-aside]")).to_have_text("not known: the water's readings have stopped")
            await expect(page.locator("[data-since-aside]")).to_contain_text("at the last reading")
            grey = rgb(
                await page.evaluate("getComputedStyle(document.documentElement).getPropertyValue('--stale').trim()")
            )
            for name in ("phase", "since-lit", "boil"):
                assert await page.locator(f"[data-{name}]").evaluate("(part) => getComputedStyle(part).color") == grey
            # Its words hold the path of the port, which has no blank to break at.
            await expect(page.locator(".alarm p").first).to_contain_text("there is no port", timeout=60_000)
            await one.check_access()
            await one.keep("live-unplugged")
        await visit.open("/bench/bench/overlay?show=water")
        await expect(visit.page.locator(".moment.stale [data-since-lit]")).to_contain_text(":")
        await visit.keep("overlay-unplugged")


async def test_a_whole_burn_is_followed_through_a_restart_without_a_hole(
    browser: Browser, tmp_path: Path, artifacts: Path
) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    lost = ("ERR_CONNECTION_REFUSED", "ERR_INCOMPLETE_CHUNKED_ENCODING", "ERR_EMPTY_RESPONSE", "ERR_CONNECTION_RESET")
    async with (
        live_site(tmp_path, "--ring", "3000", speed=20.0, port=port) as site,
        visiting(browser, site.url, DESKTOP, artifacts, expected=lost) as visit,
        visiting(browser, site.url, PHONE, artifacts, expected=lost, color_scheme="dark") as phone,
    ):
        page = visit.page
        await visit.open("/")
        await phone.open("/")
        await page.click("text=Start now")
        await expect(page.locator('.events [data-kind="lit"]')).to_be_visible(timeout=60_000)
        await site.daemon.kill()
        await expect(page.locator("[data-lost]")).to_be_visible()
        for name in ("water", "mass", "burning_rate_g_min"):
            reading = page.locator(f'[data-reading="{name}"]')
            await expect(reading).to_have_class(re.compile("stale"))
            grey = "getComputedStyle(document.documentElement).getPropertyValue('--stale').trim()"
            colour = "(reading) => getComputedStyle(reading.querySelector('b')).color"
            assert await reading.evaluate(colour) == rgb(await page.evaluate(grey))
            await expect(reading.locator("[data-aside]")).to_contain_text("old")
        for name, words in (
            ("phase", "not known"),
            ("since-lit", ":"),
            ("boil", "–"),
            ("flameout", "–"),
        ):
            part = page.locator(f".stage [data-{name}]")
            await expect(part).to_contain_text(words)
        await expect(page.locator(".stage .phase.stale [data-phase-aside]")).to_contain_text("until")
        await expect(page.locator(".stage .stale [data-since-aside]")).to_contain_text("at the last reading")
        await visit.keep("live-lost")
        await site.daemon.start()
        await expect(page.locator("[data-lost]")).to_be_hidden(timeout=60_000)
        for kind in ("pot_on", "boil", "pot_off", "flameout"):
            await expect(page.locator(f'.events [data-kind="{kind}"]')).to_be_visible(timeout=90_000)
        await expect(page.locator("[data-hot]")).to_contain_text("Hot char glows on, and carbon monoxide rises")
        # What the device kept meanwhile came late, and fills the hole that it left in the curves.
        for one in (visit, phone):
            await expect(one.page.locator("[data-curves-aside]")).to_contain_text("from lit. Nothing is missing.")
            await one.check_access()
            await one.keep("live-char")
        assert "done" not in (await page.inner_text("main")).lower()
