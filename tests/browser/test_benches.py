"""The page of all benches of a daemon that records several."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import pytest_asyncio
from playwright.async_api import Browser, expect

from broker_fixture import Broker
from browser_fixture import SIZES, Size, pages_of, visiting
from daemon_fixture import daemon_process
from live_fixture import simulated_bench

pytestmark = [pytest.mark.asyncio(loop_scope="module"), pytest.mark.timeout(180)]

BENCH_FILE = """
id = "{name}"
[[channel]]
role = "water"
[[channel]]
role = "flame"
[[channel]]
role = "mass"
[serial]
port = "{port}"
"""


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def url(tmp_path_factory: pytest.TempPathFactory) -> AsyncIterator[str]:
    """A daemon of two benches, of which one is not plugged in."""
    folder = tmp_path_factory.mktemp("benches")
    async with simulated_bench(folder / "yard", speed=5.0) as bench:
        words = ["--speed", "5", "--http", "127.0.0.1:0"]
        for name, port in (("yard", bench.port), ("shed", folder / "nowhere")):
            (folder / f"{name}.toml").write_text(BENCH_FILE.format(name=name, port=port))
            words += ["--bench", str(folder / f"{name}.toml")]
        async with daemon_process(folder / "data", *words) as daemon:
            yield await pages_of(daemon.log)


@pytest.mark.parametrize("size", SIZES, ids=lambda size: size.name)
async def test_each_bench_is_shown_and_leads_to_its_page(
    browser: Browser, url: str, artifacts: Path, size: Size
) -> None:
    async with visiting(browser, url, size, artifacts) as visit:
        page = visit.page
        await visit.open("/")
        yard, shed = page.locator('[data-bench="yard"]'), page.locator('[data-bench="shed"]')
        await expect(yard.locator("[data-recording-words]")).to_have_text("recording")
        await expect(yard.locator('[data-reading="mass"] [data-value]')).not_to_have_text("–")
        await expect(shed.locator("[data-recording-words]")).to_have_text("not recording")
        await expect(shed.locator("[data-trouble]")).to_contain_text("plugged in")
        await visit.check_access()
        await visit.keep("benches")
        await yard.locator("h2 a").click()
        await expect(page.locator("h1")).to_have_text("yard")
        await expect(page.locator("[data-curves-aside]")).to_contain_text("Minutes before now.")
        await page.goto(url + "bench/shed")
        await expect(page.locator("[data-trouble]")).to_contain_text("plugged in")
        await visit.check_access()


async def test_a_bench_that_is_switched_on_appears_by_itself(
    browser: Browser, tmp_path: Path, broker: Broker, artifacts: Path
) -> None:
    words = ("--broker", broker.address, "--shard", "1/1", "--speed", "5", "--http", "127.0.0.1:0")
    async with daemon_process(tmp_path / "data", *words) as daemon:
        url = await pages_of(daemon.log)
        async with visiting(browser, url, SIZES[0], artifacts) as visit:
            await visit.open("/")
            await expect(visit.page.locator("main")).to_contain_text("No bench has been heard of yet.")
            await visit.check_access()
            await visit.keep("benches-none")
            options = ("--bench", "yard", "--at-once")
            async with simulated_bench(tmp_path / "yard", *options, speed=5.0, broker=broker.address):
                # It is the only one, so that its own page takes the place of the list.
                await expect(visit.page.locator("h1")).to_have_text("yard", timeout=60_000)
