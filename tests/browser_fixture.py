"""A person at a page: a browser of a phone's or a desk's size that fails on any error and on any request elsewhere."""

import asyncio
import os
import shutil
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.async_api import Browser, ConsoleMessage, Page, Request, async_playwright, expect

from daemon_fixture import DaemonProcess, daemon_process
from live_fixture import SimulatedBench, simulated_bench, until

AXE = Path(__file__).parent / "browser" / "axe.min.js"
ARTIFACTS = "EMBERLINE_ARTIFACTS"
LIMIT_MS = 20_000.0


@dataclass(frozen=True)
class Size:
    """A screen.

    Attributes:
        name: For the names of screenshots.
        width: Pixels.
        height: Pixels.
        touch: Whether fingers serve it.
    """

    name: str
    width: int
    height: int
    touch: bool = False


PHONE = Size("phone", 360, 740, touch=True)
DESKTOP = Size("desktop", 1280, 800)
SIZES = (PHONE, DESKTOP)


@dataclass
class Visit:
    """A page, and what went wrong on it.

    Attributes:
        page: The page.
        url: Address of the site, with a slash at its end.
        artifacts: Where screenshots go.
        size: Its screen.
        expected: Parts of messages that are no fault in this test.
        faults: What went wrong.
    """

    page: Page
    url: str
    artifacts: Path
    size: Size
    expected: Sequence[str] = ()
    faults: list[str] = field(default_factory=list)

    async def open(self, path: str) -> None:
        """Open a page of the site; its status has to be a good one."""
        answer = await self.page.goto(self.url + path.removeprefix("/"), wait_until="load")
        assert answer is not None
        assert answer.ok, f"{path}: {answer.status}"

    async def keep(self, name: str) -> None:
        """Keep a screenshot of the whole page."""
        picture = await self.page.screenshot(full_page=True)
        (self.artifacts / f"{name}-{self.size.name}.png").write_bytes(picture)

    async def check_access(self) -> None:
        """Check that a keyboard and a screen reader can use the page, and that nothing sticks out of the screen."""
        if not await self.page.evaluate("'axe' in window"):
            await self.page.evaluate(AXE.read_text(encoding="utf-8"))
        found: list[dict[str, Any]] = await self.page.evaluate("axe.run().then((found) => found.violations)")
        serious = [
            f"{one['id']} ({one['impact']}): {one['help']}; {[node['html'][:120] for node in one['nodes']]}"
            for one in found
            if one["impact"] in ("serious", "critical")
        ]
        assert not serious, "\n".join(serious)
        wide = await self.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= self.size.width, f"the page is {wide} pixels wide on a screen of {self.size.width}"

    def _heard(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self._fault(f"console: {message.text}")

    def _asked(self, request: Request) -> None:
        parts = urlsplit(request.url)
        if parts.scheme in ("http", "https", "ws", "wss") and parts.hostname != "127.0.0.1":
            self._fault(f"a request left this machine: {request.url}")

    def _fault(self, words: str) -> None:
        if not any(part in words for part in self.expected):
            self.faults.append(words)

    def watch(self) -> None:
        """Take note of what goes wrong from now on."""
        self.page.on("console", self._heard)
        self.page.on("request", self._asked)
        self.page.on("pageerror", lambda error: self._fault(f"script: {error}"))


@asynccontextmanager
async def visiting(
    browser: Browser, url: str, size: Size, artifacts: Path, *, expected: Sequence[str] = (), **options: Any
) -> AsyncIterator[Visit]:
    """Visit a site; at the end, nothing may have gone wrong on its pages.

    Args:
        browser: The browser.
        url: Address of the site, with a slash at its end.
        size: Of the screen.
        artifacts: Where screenshots go.
        expected: Parts of messages that are no fault in this test.
        options: Further ones for the browser's context, such as `color_scheme`.
    """
    context = await browser.new_context(
        viewport={"width": size.width, "height": size.height}, has_touch=size.touch, is_mobile=size.touch, **options
    )
    context.set_default_timeout(LIMIT_MS)
    try:
        visit = Visit(await context.new_page(), url, artifacts, size, expected)
        visit.watch()
        yield visit
        assert not visit.faults, "\n".join(visit.faults)
    finally:
        await context.close()


@asynccontextmanager
async def a_browser() -> AsyncIterator[Browser]:
    """Start Debian's Chromium; where it is missing, skip the test with the reason."""
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("chromium is not installed: on Debian, `apt-get install chromium`")
    async with async_playwright() as playwright:
        # Without a sandbox, since tests may run as root; they open pages of this machine alone.
        expect.set_options(timeout=LIMIT_MS)
        browser = await playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        try:
            yield browser
        finally:
            await browser.close()


def artifacts_folder(fallback: Path) -> Path:
    """Return where screenshots are kept: what the environment names, else a folder of the test run."""
    folder = Path(os.environ.get(ARTIFACTS) or fallback)
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@dataclass(frozen=True)
class LiveSite:
    """A daemon on a simulated bench, and its pages.

    Attributes:
        url: Their address, with a slash at its end.
        bench: The simulated bench.
        daemon: The daemon.
    """

    url: str
    bench: SimulatedBench
    daemon: DaemonProcess


@asynccontextmanager
async def live_site(
    folder: Path, *options: str, speed: float, duration_s: float = 780.0, port: int = 0
) -> AsyncIterator[LiveSite]:
    """Run a simulated bench and a daemon on it, and wait until pages are served.

    Args:
        folder: For their files.
        options: Further words for the simulated bench.
        speed: Seconds of the bench in a second; its burn is that of `live_fixture.short_burn`.
        duration_s: Length of the bench's record.
        port: Where pages are served; 0 for any port that is free.
    """
    async with simulated_bench(folder / "bench", *options, speed=speed, duration_s=duration_s) as bench:
        words = ("--port", str(bench.port), "--speed", str(speed), "--http", f"127.0.0.1:{port}")
        async with daemon_process(folder / "data", *words) as daemon:
            yield LiveSite(await pages_of(daemon.log), bench, daemon)


async def pages_of(log: Path) -> str:
    """Return where a daemon serves its pages, once its log says so."""
    found = ""

    def told() -> bool:
        nonlocal found
        found = log.read_text(encoding="utf-8").rpartition("pages: ")[2].partition("\n")[0] if log.exists() else ""
        return found.startswith("http")

    await until(told, "the pages", 50.0)
    return found


async def until_true(condition: Callable[[], Awaitable[bool]], what: str, limit_s: float = 30.0) -> None:
    """Wait for an asynchronous condition, and fail with its name where it does not come."""
    try:
        async with asyncio.timeout(limit_s):
            while not await condition():  # noqa: ASYNC110 it is in another process
                await asyncio.sleep(0.05)
    except TimeoutError:
        pytest.fail(f"waited in vain for {what}")
