"""One trial as a Parquet file: a row for each raw sample, and its documents beside them in the file's own metadata.

| column | holds |
|---|---|
| `commit`, `place` | number of the commit, and the place in it of the batch in which the sample came |
| `device`, `boot`, `channel`, `seq` | the sample's name for ever |
| `t_ns` | UTC nanoseconds |
| `raw`, `flags` | as they came |

Rows lie in groups of whole commits, within a group stream by stream, since what is alike packs best.
A file of anyone's making may come from anywhere: what is read is bounded, and has to agree with its checksums.
"""

import contextlib
import hashlib
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emberline.bench.samples import SampleBatch
from emberline.store.blocks import Commit
from emberline.store.errors import ArchiveError, ExportError

SUFFIX = ".parquet"
UNFINISHED = ".unfinished"
CHECKSUM = "sha256"
GROUP_ROWS = 1 << 17
"""Rows after which a group is closed; a commit is never divided, so that each group can be read by itself."""
MOST_ROWS = 200_000_000
"""Two days of twelve channels at 80 Hz, and some more."""
MOST_GROUP_BYTES = 2 << 30
MOST_FOOTER_BYTES = 64 << 20
MOST_CONTAINERS = 1 << 20
TAIL_BYTES = 8
"""A Parquet file ends in the length of its footer and four letters (Apache Parquet format, "File Format")."""


def write_file(files: Any, path: str, texts: Mapping[str, str], groups: Iterable[Any]) -> int:
    """Write a trial's file, which takes the place of an earlier one once it is whole; return its number of rows.

    Args:
        files: The file system, of fsspec.
        path: The file on it.
        texts: Documents by name.
        groups: Groups of rows, as `row_groups` makes and `groups_in` reads them.

    Raises:
        ExportError: It cannot be written.
        StoreError: The rows cannot be read.
    """
    parquet = arrow()[1]
    unfinished, count = path + UNFINISHED, 0
    try:
        files.makedirs(path.rpartition("/")[0], exist_ok=True)
        with (
            files.open(unfinished, "wb") as file,
            parquet.ParquetWriter(
                file,
                _schema(),
                compression="zstd",
                use_dictionary=list(_WORDS),
                column_encoding={
                    **dict.fromkeys(("commit", "place", "boot", "seq", "t_ns"), "DELTA_BINARY_PACKED"),
                    "raw": "BYTE_STREAM_SPLIT",
                },
                write_page_checksum=True,
                store_schema=False,
            ) as writer,
        ):
            for group in groups:
                writer.write_table(group, row_group_size=max(1, len(group)))
                count += len(group)
            writer.add_key_value_metadata({**texts, CHECKSUM: _checksum(texts)})
        files.mv(unfinished, path)
    except OSError as exc:
        raise ExportError(f"cannot write {path}: {exc.strerror or exc}") from exc
    finally:
        with contextlib.suppress(OSError):
            if files.exists(unfinished):
                files.rm(unfinished)
    return count


def read_texts(files: Any, path: str) -> dict[str, str]:
    """Return a file's documents by name, without touching its samples.

    Raises:
        ArchiveError: It cannot be read, is none of ours, or is damaged.
    """
    with _opened(files, path) as opened:
        found = {name.decode(): text.decode() for name, text in (opened.metadata.metadata or {}).items()}
        checksum = found.pop(CHECKSUM, None)
        if checksum != _checksum(found):
            raise ArchiveError(f"{path} is no file of an archive, or its documents are damaged: {_WAY_OUT}")
        return found


def groups_in(files: Any, path: str) -> Iterator[Any]:
    """Yield a file's groups of rows, as Arrow tables.

    Raises:
        ArchiveError: It cannot be read, or is damaged.
    """
    with _opened(files, path) as opened:
        if not opened.schema_arrow.remove_metadata().equals(_schema()):
            raise ArchiveError(f"{path} has other columns than the file of a trial")
        if opened.metadata.num_rows > MOST_ROWS:
            raise ArchiveError(f"{path} has {opened.metadata.num_rows} rows, more than any trial")
        for group in range(opened.num_row_groups):
            if opened.metadata.row_group(group).total_byte_size > MOST_GROUP_BYTES:
                raise ArchiveError(f"{path} would unpack to more than any trial")
            yield opened.read_row_group(group, use_threads=False)


def row_groups(commits: Iterable[Commit]) -> Iterator[Any]:
    """Yield the rows of commits, whole commits together."""
    held: list[_Placed] = []
    rows = 0
    for commit in commits:
        held += [(commit.id, place, batch) for place, batch in enumerate(commit.batches)]
        rows += sum(map(len, commit.batches))
        if rows >= GROUP_ROWS:
            yield _table(held)
            held, rows = [], 0
    if held:
        yield _table(held)


def commits_in(groups: Iterable[Any], path: str) -> Iterator[Commit]:
    """Yield the commits of groups of rows in their order.

    Args:
        groups: As `row_groups` makes and `groups_in` reads them.
        path: Where they come from, for messages.

    Raises:
        ArchiveError: They are damaged.
    """
    for group in groups:
        if not len(group):
            continue
        if any(column.null_count for column in group.columns):
            raise ArchiveError(f"{path} lacks values: {_WAY_OUT}")
        commit, place, boot, seq, t_ns, raw, flags = (group.column(name).to_numpy() for name in _NUMBERS)
        (device, devices), (channel, channels) = (_words(group.column(name), path) for name in _WORDS)
        begins = np.ones(len(seq), dtype=bool)
        begins[1:] = np.any([one[1:] != one[:-1] for one in (commit, place, device, boot, channel)], axis=0)
        if np.any((seq[1:] != seq[:-1] + 1) & ~begins[1:]) or np.any((t_ns[1:] < t_ns[:-1]) & ~begins[1:]):
            raise ArchiveError(f"{path} holds rows that do not follow each other: {_WAY_OUT}")
        starts = np.flatnonzero(begins)
        ends = np.append(starts[1:], len(seq))
        held: list[SampleBatch] = []
        current = 0
        for one in np.lexsort((place[starts], commit[starts])):
            first, part = starts[one], slice(starts[one], ends[one])
            if held and commit[first] != current:
                yield Commit(current, tuple(held))
                held = []
            current = int(commit[first])
            stream = devices[device[first]], int(boot[first]), channels[channel[first]]
            held.append(SampleBatch(*stream, int(seq[first]), t_ns[part], raw[part], flags[part]))
        yield Commit(current, tuple(held))


_Placed = tuple[int, int, SampleBatch]
_NUMBERS, _WORDS = ("commit", "place", "boot", "seq", "t_ns", "raw", "flags"), ("device", "channel")
_WAY_OUT = "delete it, and run `emberline archive` where the trial was recorded"


def arrow() -> tuple[Any, Any]:
    """Return the packages that read and write Parquet.

    Raises:
        ArchiveError: They are not installed.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as exc:
        raise ArchiveError("an archive needs the extra archive: pip install 'emberline[archive]'") from exc
    return pa, pq


def _schema() -> Any:
    pa = arrow()[0]
    whole, words = pa.int64(), pa.dictionary(pa.int32(), pa.string())
    stream = {"device": words, "boot": whole, "channel": words, "seq": whole}
    return pa.schema(
        {"commit": whole, "place": pa.uint16(), **stream, "t_ns": whole, "raw": pa.float64(), "flags": pa.uint8()}
    )


def _table(held: list[_Placed]) -> Any:
    pa = arrow()[0]
    held = sorted(held, key=lambda one: (one[2].device, one[2].boot, one[2].channel))
    batches = [batch for _, _, batch in held]
    lengths = [len(batch) for batch in batches]

    def each(values: Iterable[int]) -> NDArray[np.int64]:
        return np.repeat(np.fromiter(values, dtype=np.int64, count=len(batches)), lengths)

    def words(names: list[str]) -> Any:
        known = {name: index for index, name in enumerate(dict.fromkeys(names))}
        return pa.DictionaryArray.from_arrays(each(known[name] for name in names).astype(np.int32), list(known))

    # What each row is past the first of its batch.
    past = np.arange(sum(lengths)) - np.repeat(np.cumsum([0, *lengths[:-1]]), lengths)
    columns = {
        "commit": each(commit for commit, _, _ in held),
        "place": each(place for _, place, _ in held).astype(np.uint16),
        "device": words([batch.device for batch in batches]),
        "boot": each(batch.boot for batch in batches),
        "channel": words([batch.channel for batch in batches]),
        "seq": each(batch.first_seq for batch in batches) + past,
        "t_ns": np.concatenate([batch.t_ns for batch in batches]),
        "raw": np.concatenate([batch.raw for batch in batches]),
        "flags": np.concatenate([batch.flags for batch in batches]),
    }
    return pa.table(columns, schema=_schema())


def _words(column: Any, path: str) -> tuple[NDArray[np.int32], list[str]]:
    """Return where each row's word stands among the words of a column, and those."""
    whole = column.unify_dictionaries().combine_chunks()
    places, words = whole.indices.to_numpy(), whole.dictionary.to_pylist()
    if not 0 <= places.min() <= places.max() < len(words):
        raise ArchiveError(f"{path} names streams that it does not hold: {_WAY_OUT}")
    return places, words


def _checksum(texts: Mapping[str, str]) -> str:
    digest = hashlib.sha256()
    for name in sorted(texts):
        for part in (name, texts[name]):
            digest.update(len(part.encode()).to_bytes(8, "big") + part.encode())
    return digest.hexdigest()


@contextlib.contextmanager
def _opened(files: Any, path: str) -> Iterator[Any]:
    pa, parquet = arrow()
    try:
        with files.open(path, "rb") as file:
            size = file.seek(0, 2)
            file.seek(max(0, size - TAIL_BYTES))
            length, letters = int.from_bytes(file.read(4), "little"), file.read(4)
            if letters != b"PAR1" or not 0 < length <= min(size - TAIL_BYTES, MOST_FOOTER_BYTES):
                raise ArchiveError(f"{path} is no Parquet file, or is cut off: {_WAY_OUT}")
            file.seek(0)
            try:
                opened = parquet.ParquetFile(
                    file,
                    read_dictionary=list(_WORDS),
                    page_checksum_verification=True,
                    thrift_string_size_limit=MOST_FOOTER_BYTES,
                    thrift_container_size_limit=MOST_CONTAINERS,
                )
            except KeyError as exc:
                raise ArchiveError(f"{path} has other columns than the file of a trial") from exc
            yield opened
    except FileNotFoundError as exc:
        raise ArchiveError(f"there is no file {path} in the archive any more") from exc
    except (OSError, pa.ArrowException, UnicodeDecodeError, OverflowError) as exc:
        raise ArchiveError(f"{path} cannot be read, or is damaged ({exc}): {_WAY_OUT}") from exc
