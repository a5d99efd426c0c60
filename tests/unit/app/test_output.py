import os
from pathlib import Path

import pytest

from emberline.app.output import OutputError, make_folder, write_bench_file, write_text


def test_text_files_appear_whole(tmp_path: Path) -> None:
    write_text(tmp_path / "a.txt", "ä")
    assert os.listdir(tmp_path) == ["a.txt"]  # noqa: PTH208  names only
    with pytest.raises(OutputError, match="cannot write"):
        write_text(tmp_path / "no" / "a.txt", "x")


def test_a_bench_file_is_written_once(tmp_path: Path) -> None:
    write_bench_file(tmp_path / "bench.toml")
    written = (tmp_path / "bench.toml").read_bytes()
    with pytest.raises(OutputError, match="left alone"):
        write_bench_file(tmp_path / "bench.toml")
    assert (tmp_path / "bench.toml").read_bytes() == written
    with pytest.raises(OutputError, match="cannot write"):
        write_bench_file(tmp_path / "no" / "bench.toml")


def test_a_folder_where_a_file_lies_is_refused(tmp_path: Path) -> None:
    make_folder(tmp_path / "a" / "b")
    make_folder(tmp_path / "a" / "b")
    (tmp_path / "taken").write_text("mine")
    with pytest.raises(OutputError, match="cannot make the folder"):
        make_folder(tmp_path / "taken" / "b")
