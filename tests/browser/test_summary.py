"""The summary page on screens of every width."""

from dataclasses import replace
from pathlib import Path

import pytest
from playwright.async_api import Browser
from uncertainties import ufloat

from emberline.curves.events import Phase
from emberline.heat.phases import PhaseResult
from emberline.heat.result import Result
from emberline.reports.page import summary_page
from unit.reports.made_up_burn import make_burn

pytestmark = pytest.mark.asyncio(loop_scope="module")

WIDTHS = (320, 480, 640, 720, 740, 800, 900, 940, 1000, 1280)
TOO_WIDE = """() => [...document.querySelectorAll(".text table")].filter((table) =>
    table.getBoundingClientRect().right > table.closest(".text").getBoundingClientRect().right + 1
).map((table) => table.className)"""


async def test_no_table_is_wider_than_its_column(browser: Browser, tmp_path: Path, artifacts: Path) -> None:
    long = PhaseResult(
        Phase.KINDLING,
        90.0,
        2000.0,
        Result(ufloat(1234.0, 60.0), "s"),
        Result(ufloat(1210.4, 5.5), "g"),
        Result(ufloat(12.34, 0.55), "g/min"),
        Result(ufloat(12_340.0, 550.0), "W"),
        Result(ufloat(1210.4, 5.5), "g"),
    )
    burn = make_burn()
    phases = (long, replace(long, phase=Phase.FLAMING), replace(long, phase=Phase.CHAR))
    path = tmp_path / "summary.html"
    path.write_text(summary_page(replace(burn, results=replace(burn.results, phases=phases))))
    page = await browser.new_page()
    await page.goto(path.as_uri())
    for width in WIDTHS:
        await page.set_viewport_size({"width": width, "height": 900})
        assert await page.evaluate(TOO_WIDE) == [], width
        assert await page.evaluate("document.documentElement.scrollWidth") <= width
    (artifacts / "summary-desktop.png").write_bytes(await page.screenshot(full_page=True))
    await page.close()
