"""Photographs the program's pages: a bench while it burns, a guided burn, a correction, a comparison."""

import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

EMBERLINE = str(Path(sys.executable).with_name("emberline"))
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1100, "height": 900}
LIMIT_MS = 120_000.0
LIVE_SPEED, GUIDE_SPEED = "15", "30"


def draw_pages(folder: Path, target: Path, program: str) -> list[Path]:
    """Photograph all of them into a folder; return the pictures.

    Args:
        folder: For data.
        target: Where the pictures go.
        program: The browser.
    """
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        try:
            _bench(browser, folder / "bench", target / "bench.png")
            _guide(browser, folder / "guide", target / "guide.png")
            _stored(browser, folder / "stored", target)
        finally:
            browser.close()
    return [target / name for name in ("bench.png", "guide.png", "correct.png", "compare.png")]


def _bench(browser: Browser, folder: Path, target: Path) -> None:
    """Sticks burn; the boil is to come."""
    with _recording(folder, LIVE_SPEED, ()) as url:
        page = _opened(browser, f"{url}bench/bench", PHONE)
        page.locator("[data-kind=pot_on]").wait_for()
        page.locator("[data-boil]:not(:text-is('–'))").wait_for()
        page.screenshot(path=target)


def _guide(browser: Browser, folder: Path, target: Path) -> None:
    """The first thing that a guided burn asks for, on an empty scale."""
    with _recording(folder, GUIDE_SPEED, ("--by-hand",)) as url:
        page = _opened(browser, f"{url}bench/bench/guide", PHONE)
        page.fill("#label", "sticks, first")
        page.click('button:has-text("Begin")')
        page.wait_for_selector("[data-take]:not([disabled])")
        page.screenshot(path=target)


def _stored(browser: Browser, folder: Path, target: Path) -> None:
    """Three burns of each of two fuels: one of them is corrected, all are compared."""
    folder.mkdir()
    for seed in "123":
        for fuel, scenario in (("sticks", "light_sticks"), ("pellets", "small_pellets")):
            burn = folder / f"{fuel}-{seed}"
            made = ["-m", "emberline_sim", "--scenario", scenario, "--seed", seed, "--write-files", str(burn)]
            subprocess.run([sys.executable, *made], check=True, stdout=subprocess.DEVNULL)  # noqa: S603
            words = [
                "import",
                str(burn / "readings.csv"),
                "--plan",
                str(burn / "plan.toml"),
                "--label",
                burn.name,
                "--data",
                str(folder / "data"),
            ]
            subprocess.run([EMBERLINE, *words], check=True, stdout=subprocess.DEVNULL)  # noqa: S603
    with _served(folder, "--port", str(folder / "none")) as url:
        page = _opened(browser, f"{url}compare?by=fuel", DESK)
        page.locator(".result").first.scroll_into_view_if_needed()
        page.screenshot(path=target / "compare.png", full_page=True, clip={"x": 0, "y": 0, **DESK})
        page = _opened(browser, f"{url}trials", DESK)
        page.click("text=sticks-1")
        page.wait_for_selector("[data-plots] canvas")
        page.click('summary:has-text("Move or delete an event")')
        page.locator("#correct").scroll_into_view_if_needed()
        page.screenshot(path=target / "correct.png")


@contextmanager
def _recording(folder: Path, speed: str, more: tuple[str, ...]) -> Iterator[str]:
    """Yield the address of the pages of a bench that burns sticks, or waits for hands."""
    folder.mkdir()
    words = ["-m", "emberline_sim", "--scenario", "light_sticks", "--pty-link", str(folder / "port"), "--speed", speed]
    with (folder / "sim.log").open("wb") as log:
        bench = subprocess.Popen([sys.executable, *words, *more], stdin=subprocess.PIPE, stdout=log, stderr=log)  # noqa: S603
    try:
        with _served(folder, "--port", str(folder / "port"), "--speed", speed) as url:
            yield url
    finally:
        bench.terminate()
        bench.wait(30.0)


@contextmanager
def _served(folder: Path, *words: str) -> Iterator[str]:
    """Yield the address of a daemon's pages."""
    log = folder / "run.log"
    command = [EMBERLINE, "run", "--data", str(folder / "data"), "--http", "127.0.0.1:0", "--log", str(log), *words]
    daemon = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # noqa: S603
    try:
        stop_s = time.monotonic() + LIMIT_MS / 1e3
        while "pages: " not in (said := log.read_text(encoding="utf-8") if log.exists() else ""):
            if time.monotonic() > stop_s or daemon.poll() is not None:
                raise TimeoutError(f"no pages were served: {said}")
            time.sleep(0.1)
        yield said.rpartition("pages: ")[2].splitlines()[0]
    finally:
        daemon.terminate()
        daemon.wait(60.0)


def _opened(browser: Browser, url: str, size: dict[str, int]) -> Page:
    context = browser.new_context(viewport=size, device_scale_factor=1.5, color_scheme="light")  # type: ignore[arg-type]
    context.set_default_timeout(LIMIT_MS)
    page = context.new_page()
    page.goto(url)
    return page
