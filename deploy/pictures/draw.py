"""Draws the pictures of README.md and of the site from simulated burns, next to this file.

While `emberline demo` runs, this watches its daemon as `emberline watch` does and keeps the readout as it stands when
the pot is about to boil: that becomes `readout.svg`. When the demo is over, a browser photographs the page of its
summary: `summary.png`. Others are photographs of the program's pages (`pages.py`) and curves (`curves.py`).
"""

import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from curves import draw_boil, draw_ledger
from pages import draw_pages
from PIL import Image
from rich.console import Console

from emberline.cli.readout import Document, panel
from emberline.curves.events import EventKind
from emberline.service.control_client import watch
from emberline.service.errors import NoDaemonError

HERE = Path(__file__).parent
SCENARIO = "chips_two_refuels"
SPEED = "30"
"""Half the demo's pace: what is announced keeps up with the readings on a busy machine too."""
COLUMNS = 108
PAGE_PX = (1000, 1190)
"""Down to the end of the curves."""
START_LIMIT_S = 60.0
END_LIMIT_S = 600.0
BROWSER_LIMIT_S = 60.0
LARGEST_BYTES = 200_000
COLOURS = 128
"""Colours kept in a photograph: a page of text and curves has few."""

FORMAT = """<svg viewBox="0 0 {width} {height}" xmlns="http://www.w3.org/2000/svg">
<style>
.{unique_id}-matrix {{ font-family: "DejaVu Sans Mono", Menlo, Consolas, monospace; font-size: {char_height}px; \
line-height: {line_height}px; }}
{styles}
</style>
<defs>
<clipPath id="{unique_id}-clip-terminal">
<rect x="0" y="0" width="{terminal_width}" height="{terminal_height}"/>
</clipPath>
{lines}
</defs>
<rect width="{width}" height="{height}" rx="8" fill="#1c1c1c"/>
<g transform="translate({terminal_x}, {char_height})" clip-path="url(#{unique_id}-clip-terminal)">
{backgrounds}
<g class="{unique_id}-matrix">
{matrix}
</g>
</g>
</svg>
"""
"""A plain dark sheet. Nothing in it is fetched from anywhere."""


class PictureError(Exception):
    """A picture could not be drawn."""


def main() -> None:
    """Draw all pictures."""
    with tempfile.TemporaryDirectory() as name:
        draw_boil(Path(name), HERE / "boil.svg")
        draw_ledger(Path(name), HERE / "ledger.svg")
        for target in draw_pages(Path(name), HERE, browser()):
            reduce(target)
        folder = Path(name) / "burn"
        program = Path(sys.executable).with_name("emberline")
        command = [str(program), "demo", "--scenario", SCENARIO, "--speed", SPEED, "--data", str(folder)]
        demo = subprocess.Popen(command, stdin=subprocess.DEVNULL)  # noqa: S603
        try:
            draw_readout(watched(folder), HERE / "readout.svg")
            if demo.wait(END_LIMIT_S) != 0:
                raise PictureError("the demo failed: see above")
        finally:
            demo.terminate()
            demo.wait(BROWSER_LIMIT_S)
        (page,) = folder.glob("trials/*/summary.html")
        photograph(page, HERE / "summary.png")


def watched(folder: Path) -> Iterator[Document]:
    """Yield what the daemon of a folder shows, waiting for it to start."""
    stop_s = time.monotonic() + START_LIMIT_S
    while True:
        try:
            yield from watch(folder)
        except NoDaemonError:
            if time.monotonic() > stop_s:
                raise
            time.sleep(0.2)
        else:
            return


def draw_readout(messages: Iterator[Document], target: Path) -> None:
    """Draw the readout as it stands when the pot has been set on and boil is forecast within two minutes."""
    events: list[Document] = []
    for message in messages:
        if "event" in message:
            events.append(message["event"])
            continue
        document = message.get("live", {})
        kinds = {event["kind"] for event in events}
        forecasts = [document.get(f"{kind}_forecast", {"absent": ""}) for kind in ("boil", "flameout")]
        if EventKind.POT_ON not in kinds or any("absent" in forecast for forecast in forecasts):
            continue
        if forecasts[0]["t_s"] - document["t_s"] < 120.0:
            save_readout(document, events, target)
            return
    raise PictureError("no moment before the boil had forecasts")


def save_readout(document: Document, events: list[Document], target: Path) -> None:
    """Draw one state of the readout as a terminal of its own would show it."""
    with Path("/dev/null").open("w") as nowhere:
        console = Console(file=nowhere, record=True, width=COLUMNS, highlight=False, markup=False, emoji=False)
        console.print(panel(document, events))
    lines = console.export_svg(code_format=FORMAT, unique_id="readout").splitlines()
    target.write_text("".join(f"{line.rstrip()}\n" for line in lines if line.strip()), encoding="utf-8")
    checked(target)


def photograph(page: Path, target: Path) -> None:
    """Photograph the top of a page."""
    options = ["--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"]
    options += [f"--window-size={PAGE_PX[0]},{PAGE_PX[1]}", f"--screenshot={target}", page.as_uri()]
    subprocess.run([browser(), *options], check=True, timeout=BROWSER_LIMIT_S, capture_output=True)  # noqa: S603
    reduce(target)


def browser() -> str:
    """Return the browser that photographs."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        raise PictureError("no chromium on this machine: install it, and draw again")
    return found


def reduce(target: Path) -> None:
    """Keep the few colours that a page of text and curves has."""
    with Image.open(target) as image:
        few = image.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    few.save(target, optimize=True)
    checked(target)


def checked(target: Path) -> None:
    """Refuse a picture that is too large for a page of text."""
    size = target.stat().st_size
    if size > LARGEST_BYTES:
        raise PictureError(f"{target.name} has {size} bytes, more than {LARGEST_BYTES}")
    print(f"{target.name}: {size} bytes")  # noqa: T201


if __name__ == "__main__":
    main()
