from pathlib import Path

import pytest
from documentation import hook

PAGES = [*(hook.ROOT / hook.OWN).rglob("*.md"), *(hook.ROOT / name for name in hook.FRONT)]


@pytest.mark.parametrize(
    ("source", "place"),
    [
        ("README.md", "index.html"),
        ("host/docs/tutorial/first-burn.md", "tutorial/first-burn.html"),
        ("host/decisions/0001-one-sqlite-file.md", "decisions/0001-one-sqlite-file.html"),
        ("deploy/bench-guide/README.md", "deploy/bench-guide/index.html"),
        ("host/docs/assets/site.css", "assets/site.css"),
    ],
)
def test_each_file_has_its_place(source: str, place: str) -> None:
    assert hook.place(source) == place


def test_every_table_that_a_page_asks_for_is_made_and_none_in_vain() -> None:
    asked = {name for page in PAGES for name in hook.PLACEHOLDER.findall(page.read_text(encoding="utf-8"))}
    assert asked == set(hook.MADE)


def test_who_reads_a_page_as_a_file_is_told_where_its_tables_are() -> None:
    for page in PAGES:
        text = page.read_text(encoding="utf-8")
        for found in hook.PLACEHOLDER.finditer(text):
            assert found[0].startswith("*(`deploy/site` makes this part"), f"{page}: {found[0]}"
        assert "makes this part" not in hook.PLACEHOLDER.sub("", text)


def test_files_to_which_a_page_links_go_along(tmp_path: Path) -> None:
    readme = hook.ROOT / "README.md"
    assert hook.ROOT / "deploy" / "pictures" / "summary.png" in hook.linked([readme])
