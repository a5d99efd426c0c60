from pathlib import Path

import pytest

from emberline.service.standing_file import StandingFile, benches_with_standing


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


def test_the_benches_that_were_heard_are_named(tmp_path: Path) -> None:
    for bench in ("yard", "shed"):
        StandingFile(tmp_path, bench).write({})
    (tmp_path / "link-barn.unfinished").write_text("{}")
    assert benches_with_standing(tmp_path) == ["shed", "yard"]
