from pathlib import Path

import pytest

from emberline.service.standing_file import StandingFile


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    StandingFile(tmp_path, "yard").write({"device": "d", "wanted": {"0": 7}})
    assert StandingFile(tmp_path, "yard").read() == {"device": "d", "wanted": {"0": 7}}
    assert StandingFile(tmp_path, "shed").read() is None


@pytest.mark.parametrize("damaged", ["", '{"device": ', "[1, 2]", "7"])
def test_a_damaged_file_counts_as_none(tmp_path: Path, damaged: str) -> None:
    (tmp_path / "link-yard.json").write_text(damaged)
    assert StandingFile(tmp_path, "yard").read() is None


def test_a_disk_that_refuses_is_reported_once(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    file = StandingFile(tmp_path / "gone", "yard")
    for _ in range(3):
        file.write({"device": "d"})
    assert caplog.text.count("cannot write") == 1
