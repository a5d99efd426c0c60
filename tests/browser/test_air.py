"""Carbon monoxide on the live page: the alarm, the limits by name, and what is not known."""

import asyncio
import json
import time
from collections.abc import AsyncIterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
import pytest_asyncio
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion
from playwright.async_api import Browser, expect

from broker_fixture import Broker
from browser_fixture import SIZES, pages_of, visiting
from daemon_fixture import daemon_process
from live_fixture import until

pytestmark = [pytest.mark.asyncio(loop_scope="module"), pytest.mark.timeout(180)]

PPM = 300.0
MEASURED_S = 1_200
"""Twenty minutes in which the limits of minutes are passed, and what eight hours at work may hold is not."""


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def url(tmp_path_factory: pytest.TempPathFactory) -> AsyncIterator[str]:
    """A bench whose gateway has sent the carbon monoxide of twenty minutes; yield the pages' address."""
    folder = tmp_path_factory.mktemp("air")
    broker = Broker(folder / "broker")
    broker.start()
    client = paho.Client(CallbackAPIVersion.VERSION2, "gateway")
    client.connect(broker.host, broker.port)
    client.loop_start()
    heard, ended = list[bytes](), asyncio.Event()
    client.on_message = lambda _client, _data, message: heard.append(bytes(message.payload))
    client.subscribe("emberline/v1/bench/live")

    async def send() -> None:
        """Send what was measured, then a reading a second."""
        start_s = time.time() - MEASURED_S
        for second in range(0, MEASURED_S, 60):
            records = [{"n": "co", "u": "ppm", "v": PPM, "t": start_s + second + one} for one in range(60)]
            publish(records)
        while not ended.is_set():
            publish([{"n": "co", "u": "ppm", "v": PPM, "t": time.time()}])
            with suppress(TimeoutError):
                async with asyncio.timeout(1.0):
                    await ended.wait()

    def publish(records: list[dict[str, Any]]) -> None:
        client.publish("emberline/v1/bench/senml", json.dumps(records).encode(), qos=1)

    try:
        async with (
            daemon_process(folder / "data", "--broker", broker.address, "--http", "127.0.0.1:0") as daemon,
            asyncio.TaskGroup() as group,
        ):
            address = await pages_of(daemon.log)
            await until(lambda: bool(heard), "the daemon at the broker", 60.0)
            task = group.create_task(send())
            yield address
            ended.set()
            await task
    finally:
        client.disconnect()
        client.loop_stop()
        broker.kill()


async def test_carbon_monoxide_is_told_by_the_limits_that_it_passes(
    browser: Browser, url: str, artifacts: Path
) -> None:
    for size in SIZES:
        async with visiting(browser, url, size, artifacts) as visit:
            page = visit.page
            await visit.open("/")
            alarms = page.locator("[data-alarm]")
            await expect(alarms.filter(has_text="Carbon monoxide is dangerously high")).to_be_visible(timeout=60_000)
            mean = alarms.filter(has_text="Carbon monoxide is above a limit")
            await expect(mean).to_contain_text("WHO guideline, 15 minutes")
            await expect(mean).to_contain_text("no substitute for a certified carbon monoxide alarm")
            air = page.locator("[data-air]")
            await expect(air).to_contain_text("This sensor is no substitute")
            await expect(air.locator("tr", has_text="WHO guideline, 15 minutes")).to_contain_text("above")
            work = air.locator("tr", has_text="US workplace limit (OSHA), 8 hours")
            await expect(work).to_contain_text("not known, 20 min measured")
            await expect(air.locator("tr", has_text="immediately dangerous")).to_contain_text("below")
            await visit.keep("air")
            await visit.check_access()


async def test_a_page_without_scripts_shows_the_limits_too(browser: Browser, url: str, artifacts: Path) -> None:
    async with visiting(browser, url, SIZES[0], artifacts, java_script_enabled=False) as visit:
        await visit.open("/")
        work = visit.page.locator("[data-air] tr", has_text="US workplace limit (OSHA), 8 hours")
        await expect(work).to_contain_text("not known")
