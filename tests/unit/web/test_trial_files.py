"""The files of a summary as pages read them."""

import json
from pathlib import Path

from emberline.web.trial_files import Parts, folder_of, read_parts


def test_parts_are_read_where_they_were_written(tmp_path: Path) -> None:
    folder = folder_of(tmp_path / "emberline.sqlite3", "2026-11-25-1")
    assert folder == tmp_path / "trials" / "2026-11-25-1"
    assert read_parts(folder) is None
    folder.mkdir(parents=True)
    (folder / "parts.json").write_text("{half", encoding="utf-8")
    assert read_parts(folder) is None
    (folder / "parts.json").write_text(json.dumps({"head": "<p>a</p>", "rest": ""}), encoding="utf-8")
    assert read_parts(folder) == Parts("<p>a</p>", "")
