"""A trial's file: every bit comes back, it appears whole or not at all, and damage is told."""

import random
from pathlib import Path
from typing import Any

import fsspec
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from emberline.bench.samples import FLAG_FAULT, SampleBatch
from emberline.store import archive_file
from emberline.store.archive_file import commits_in, groups_in, read_texts, row_groups, write_file
from emberline.store.blocks import Commit
from emberline.store.errors import ArchiveError, ExportError
from unit.store.archived import exactly

TEXTS = {"trial.json": '{"a": "ä"}', "plan.toml": ""}
FILES: Any = fsspec.filesystem("file")


def batch(channel: str, first: int, values: list[float], *, device: str = "dev", boot: int = 3) -> SampleBatch:
    n = len(values)
    t_ns = 10**18 + np.arange(first, first + n, dtype=np.int64) * 100_000_007
    flags = np.where(np.isnan(values), FLAG_FAULT, 0).astype(np.uint8)
    return SampleBatch(device, boot, channel, first, t_ns, np.array(values), flags)


ODD_NAN = float(np.frombuffer(np.uint64(0x7FF8_0000_0000_1234).tobytes())[0])
COMMITS = [
    Commit(4, (batch("water", 0, [20.0, 20.25]), batch("mass", 0, [1.5, 0.1 + 0.2, -3e-9, -0.0, float("inf")]))),
    Commit(7, (batch("mass", 5, [float("nan"), ODD_NAN, 7.0]),)),
    Commit(9, (batch("mass", 20, [8.0]), batch("mass", 0, [9.0], boot=2**32 - 1), batch("mass", 8, [5.0]))),
    Commit(10, (batch("mass", 21, [8.0]), batch("mass", 0, [1.0], device="ärger"))),
]


@pytest.fixture
def file(tmp_path: Path) -> str:
    path = str(tmp_path / "deep" / "x.parquet")
    assert write_file(FILES, path, TEXTS, row_groups(COMMITS)) == 15
    return path


def read(path: str) -> list[Commit]:
    return list(commits_in(groups_in(FILES, path), path))


def test_every_bit_of_every_commit_comes_back_in_order(file: str) -> None:
    assert exactly(read(file)) == exactly(COMMITS)
    assert read_texts(FILES, file) == TEXTS
    assert not list(Path(file).parent.glob("*.unfinished"))


def test_commits_are_never_divided_between_groups(file: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(archive_file, "GROUP_ROWS", 4)
    write_file(FILES, file, TEXTS, row_groups(COMMITS))
    assert pq.ParquetFile(file).num_row_groups == 3
    assert exactly(read(file)) == exactly(COMMITS)


def test_a_trial_without_samples_has_a_file_too(file: str) -> None:
    assert write_file(FILES, file, TEXTS, row_groups([])) == 0
    assert read(file) == []


def test_rows_that_were_read_can_be_written_again(file: str) -> None:
    write_file(FILES, file, {"trial.json": "new"}, groups_in(FILES, file))
    assert read_texts(FILES, file) == {"trial.json": "new"}
    assert exactly(read(file)) == exactly(COMMITS)


def test_a_file_that_cannot_be_finished_leaves_the_earlier_one(file: str) -> None:
    def broken() -> Any:
        yield from row_groups(COMMITS[:1])
        raise OSError("the disk is full")

    with pytest.raises(ExportError, match="the disk is full"):
        write_file(FILES, file, {"trial.json": "new"}, broken())
    assert read_texts(FILES, file) == TEXTS
    assert exactly(read(file)) == exactly(COMMITS)
    assert not list(Path(file).parent.glob("*.unfinished"))


def test_what_an_interrupted_run_left_behind_is_no_hindrance(file: str) -> None:
    Path(file + ".unfinished").write_bytes(b"half")
    write_file(FILES, file, TEXTS, row_groups(COMMITS))
    assert exactly(read(file)) == exactly(COMMITS)


# What others send


def test_damage_anywhere_is_told_or_does_no_harm(file: str) -> None:
    whole, rng = Path(file).read_bytes(), random.Random(7)
    told = 0
    for _ in range(400):
        content = bytearray(whole)
        content[rng.randrange(len(content))] ^= 1 << rng.randrange(8)
        Path(file).write_bytes(content)
        try:
            found = exactly(read(file)), read_texts(FILES, file)
        except ArchiveError:
            told += 1
        else:
            assert found == (exactly(COMMITS), TEXTS)
    assert told > 200, "most of the file has a checksum"


@pytest.mark.parametrize("kept", [0, 3, 11, 200, -1, -9])
def test_a_file_that_is_cut_off_is_refused(file: str, kept: int) -> None:
    Path(file).write_bytes(Path(file).read_bytes()[:kept])
    with pytest.raises(ArchiveError, match="cut off"):
        read(file)


def test_a_file_that_is_gone_is_told(file: str) -> None:
    Path(file).unlink()
    with pytest.raises(ArchiveError, match="any more"):
        read_texts(FILES, file)


def test_a_parquet_file_of_another_kind_is_refused(file: str) -> None:
    pq.write_table(pa.table({"a": [1]}), file)
    with pytest.raises(ArchiveError, match="other columns"):
        read(file)
    with pytest.raises(ArchiveError, match="other columns"):
        read_texts(FILES, file)


def test_documents_that_were_changed_are_refused(file: str) -> None:
    table = pq.read_table(file).replace_schema_metadata({**TEXTS, "sha256": "0" * 64})
    pq.write_table(table, file)
    with pytest.raises(ArchiveError, match="documents are damaged"):
        read_texts(FILES, file)


def test_values_that_lack_and_rows_that_do_not_follow_are_refused(file: str) -> None:
    (group,) = row_groups(COMMITS)
    blank = group.set_column(7, "raw", pa.array([None] * len(group), pa.float64()))
    seq = group.set_column(5, "seq", pa.array([3] * len(group), pa.int64()))
    for table, why in ((blank, "lacks values"), (seq, "do not follow")):
        with pytest.raises(ArchiveError, match=why):
            list(commits_in([table], file))


@pytest.mark.parametrize(
    ("bound", "limit", "why"),
    [
        ("MOST_ROWS", 14, "more than any trial"),
        ("MOST_GROUP_BYTES", 10, "would unpack"),
        ("MOST_FOOTER_BYTES", 100, "cut off"),
    ],
)
def test_what_is_larger_than_any_trial_is_refused(
    file: str, monkeypatch: pytest.MonkeyPatch, bound: str, limit: int, why: str
) -> None:
    monkeypatch.setattr(archive_file, bound, limit)
    with pytest.raises(ArchiveError, match=why):
        read(file)


def test_without_the_packages_it_is_said_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "pyarrow", None)
    with pytest.raises(ArchiveError, match=r"pip install 'emberline\[archive\]'"):
        archive_file.arrow()
