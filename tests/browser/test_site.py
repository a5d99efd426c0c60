"""The site of documentation: built as deploy/site does, no warning, no dead link, and read from the disk."""

import os
import subprocess
import sys
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest
from playwright.async_api import Browser, expect

from browser_fixture import SIZES, Size, visiting

pytestmark = pytest.mark.timeout(180)
ROOT = Path(__file__).parents[2]
LOADED = {("script", "src"), ("img", "src"), ("link", "href"), ("iframe", "src"), ("source", "src")}
"""What a browser fetches by itself."""
NOT_LOADED = {"canonical", "next", "prev", "edit"}
"""Relations of a `link` that a browser does not follow."""


@dataclass
class Seen(HTMLParser):
    """What stands in a page.

    Attributes:
        path: The page.
        targets: Where its links lead.
        fetched: What a browser fetches with it.
        anchors: Its places to which a link may lead.
    """

    path: Path
    targets: list[str] = field(default_factory=list)
    fetched: list[str] = field(default_factory=list)
    anchors: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        super().__init__()
        self.feed(self.path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.anchors |= {value for key in ("id", "name") if (value := found.get(key))}
        if tag == "a" and found.get("href"):
            self.targets.append(str(found["href"]))
        if tag == "link" and set(str(found.get("rel", "")).split()) & NOT_LOADED:
            return
        self.fetched += [str(found[key]) for name, key in LOADED if name == tag and found.get(key)]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the site, warnings being errors."""
    folder = tmp_path_factory.mktemp("site")
    words = ["build", "--strict", "--config-file", "deploy/documentation/mkdocs.yml", "--site-dir", str(folder)]
    environment = os.environ | {"PYTHONPATH": "deploy", "NO_MKDOCS_2_WARNING": "1"}
    done = subprocess.run(
        [sys.executable, "-m", "mkdocs", *words], cwd=ROOT, env=environment, capture_output=True, text=True, timeout=150
    )
    assert done.returncode == 0, done.stderr
    assert "WARNING" not in done.stderr
    return folder


def test_no_link_is_dead_and_nothing_is_fetched_from_elsewhere(site: Path) -> None:
    pages = {path: Seen(path) for path in site.rglob("*.html")}
    assert len(pages) > 30
    dead, far = [], []
    for path, page in pages.items():
        far += [f"{path.name}: {target}" for target in page.fetched if urlsplit(target).netloc]
        for target in (*page.targets, *page.fetched):
            parts = urlsplit(target)
            if parts.scheme or parts.netloc:
                # No traffic: only whether it can be an address.
                if parts.scheme not in ("http", "https", "mailto") or not (parts.netloc or parts.path):
                    dead.append(f"{path.name}: {target}")
                continue
            # The page of what is not found has links from the root, as a server needs them.
            start = site if parts.path.startswith("/") else path.parent
            goal = Path(os.path.normpath(start / unquote(parts.path).lstrip("/"))) if parts.path else path
            goal = goal / "index.html" if goal.is_dir() else goal
            if not goal.is_file() or (parts.fragment and goal in pages and not is_place(pages[goal], parts.fragment)):
                dead.append(f"{path.name}: {target}")
    assert dead == []
    assert far == []
    styles = "".join(path.read_text(encoding="utf-8") for path in site.rglob("*.css"))
    assert "url(http" not in styles
    assert "@import" not in styles


def is_place(page: Seen, fragment: str) -> bool:
    """Tell whether a page has a place; where it begins is one."""
    return unquote(fragment) in page.anchors


@pytest.mark.asyncio(loop_scope="module")
@pytest.mark.parametrize("size", SIZES, ids=lambda size: size.name)
async def test_it_is_read_and_searched_from_the_disk(browser: Browser, site: Path, size: Size, artifacts: Path) -> None:
    async with visiting(browser, f"{site.as_uri()}/", size, artifacts) as visit:
        page = visit.page
        await visit.open("index.html")
        if size.touch:
            await page.click("label[for=__search].md-header__button")
        await page.locator("input.md-search__input").press_sequentially("carbon monoxide")
        await expect(page.locator(".md-search-result__item").first).to_be_visible(timeout=60_000.0)
        await visit.keep("site-search")
        for name in ("tutorial/first-burn", "reference/commands", "reference/plan", "explanation/events"):
            await visit.open(f"{name}.html")
            wide = await page.evaluate("document.documentElement.scrollWidth")
            assert wide <= size.width, f"{name} is {wide} pixels wide on a screen of {size.width}"
