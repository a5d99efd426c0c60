"""The README and every page of the site, followed: each snippet is run as it stands there, page by page."""

import sys
from pathlib import Path

import pytest

from snippet_fixture import Reader, snippets

ROOT = Path(__file__).parents[2]
PAGES = [
    page
    for page in (ROOT / "README.md", *sorted((ROOT / "host" / "docs").rglob("*.md")))
    if any(not snippet.left_out for snippet in snippets(page))
]
HASTENED = {
    # A burn goes by faster, and pages are served at a free port.
    "--speed 10": "--speed 60",
    "emberline run ": "emberline run --http 127.0.0.1:0 ",
}


@pytest.mark.timeout(400)
@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).with_suffix("").as_posix())
def test_who_follows_a_page_gets_through(page: Path, tmp_path: Path) -> None:
    # What deploy/venv makes: the environment of these tests.
    (tmp_path / ".venv").symlink_to(Path(sys.prefix), target_is_directory=True)
    followed = Reader(tmp_path, HASTENED).follow(page)
    assert len(followed) == sum(not snippet.left_out for snippet in snippets(page))
