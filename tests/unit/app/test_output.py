import os
from pathlib import Path

import pytest

from disk_fixture import disk_of
from emberline.app.output import OutputError, make_folder, write_bench_file, write_new, write_text


def test_text_files_appear_whole(tmp_path: Path) -> None:
    write_text(tmp_path / "a.txt", "ä")
    assert os.listdir(tmp_path) == ["a.txt"]  # noqa: PTH208  names only
    with pytest.raises(OutputError, match="cannot write"):
        write_text(tmp_path / "no" / "a.txt", "x")


def test_what_finds_no_room_leaves_nothing(tmp_path: Path) -> None:
    with disk_of(1, tmp_path / "disk") as disk:
        (disk / "full").write_bytes(bytes(2**20 - 8192))
        for write in (write_text, write_new):
            with pytest.raises(OutputError, match="cannot write"):
                write(disk / "large.txt", "x" * 100_000)
        assert os.listdir(disk) == ["full"]  # noqa: PTH208  names only


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
