"""A trial in one file for another person: everything that its numbers rest on, in open formats, as a zip.

| member | holds |
|---|---|
| `trial.json` | what the trial is; its announcements, its corrections |
| `samples.csv` | every sample, raw, in the order of the commits |
| `bench.toml`, `plan.toml` | the bench and the plan as they held |
| others | for people: the summary and its page, curves a row a second |

Only the first four are read again, by their names; nothing of a pack ever becomes a path.
"""

import csv
import io
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby, islice
from pathlib import Path
from typing import IO, TextIO

import numpy as np

from emberline.bench.samples import SampleBatch
from emberline.store.blocks import Commit
from emberline.store.burn_reader import BurnReader
from emberline.store.errors import ExportError, PackError
from emberline.store.records import Trial
from emberline.store.store import Store
from emberline.store.trial_documents import BENCH, PLAN, TEXTS, TRIAL, TrialDocuments, read_texts, texts_of

SUFFIX = ".zip"
SAMPLES = "samples.csv"
HEAD = ("commit", "device", "boot", "channel", "seq", "t_ns", "raw", "flags")
MOST_BYTES = {TRIAL: 64 << 20, SAMPLES: 2 << 30, BENCH: 1 << 20, PLAN: 1 << 20}
"""Bounds of what is unpacked: two days of a bench at 80 Hz, and no more than a disk can take."""
FIRST_TIME = (1980, 1, 1, 0, 0, 0)
"""Stands on every member, so that the same trial gives the same bytes."""
BLOCK_COMMITS = 500
MOST_BATCHES = 100_000
"""In one commit; a backlog of an hour that came at once has some thousands."""
LONGEST_LINE = 1_000
ROWS_AT_ONCE = 20_000
"""Rows are held as text only so many at a time: that takes thirty times the room of their numbers."""


def write_pack(store: BurnReader, trial: Trial, beside: Mapping[str, bytes], target: Path) -> int:
    """Write a trial into one file, which appears when it is whole, and return its number of samples.

    Args:
        store: Where the trial is.
        trial: The trial.
        beside: More members by name, for people.
        target: The file.

    Raises:
        ExportError: It cannot be written.
        StoreError: The samples cannot be read.
    """
    unfinished = target.with_name(target.name + ".unfinished")
    try:
        with zipfile.ZipFile(unfinished, "w", zipfile.ZIP_DEFLATED) as pack:
            for name, text in texts_of(store, trial).items():
                pack.writestr(_member(name), text)
            with pack.open(_member(SAMPLES), "w", force_zip64=True) as file:
                text_file = io.TextIOWrapper(file, "utf-8", newline="")
                count = _write_samples(store.trial_commits(trial), text_file)
                text_file.flush()
                text_file.detach()
            for name, content in beside.items():
                pack.writestr(_member(name), content)
        unfinished.replace(target)
    except OSError as exc:
        raise ExportError(f"cannot write {target}: {exc.strerror or exc}") from exc
    finally:
        unfinished.unlink(missing_ok=True)
    return count


def read_pack(source: Path) -> TrialDocuments:
    """Read a pack's documents.

    Raises:
        PackError: The file is no pack, is damaged, or is larger than any trial.
    """
    with _opened(source) as pack:
        try:
            texts = {name: _text(pack, source, name) for name in TEXTS}
        except UnicodeDecodeError as exc:
            raise PackError(f"{source} is no pack of Emberline's, or was changed: {exc!r}") from exc
    return read_texts(texts, str(source))


def unpack(source: Path, packed: TrialDocuments, store: Store, label: str | None = None) -> Trial:
    """Enter a pack's trial under a new id, with its samples and all that was said of it.

    Args:
        source: The pack.
        packed: Its documents.
        store: The store.
        label: A name for the trial; that of the pack where None.

    Raises:
        PackError: The samples are damaged.
        StoreError: The trial cannot be kept.
    """
    head = packed.head
    trial = store.create_trial(
        bench=str(head["bench"]),
        start_ns=int(head["start_ns"]),
        zone=str(head["zone"]),
        origin="import",
        source=source.name,
        relative=bool(head["relative"]),
        remarks=[str(one) for one in head["remarks"]],
        label=label or head["label"],
        bench_text=packed.bench_text,
        plan_text=packed.plan_text,
    )
    device = f"import:{source.name}"
    first_boot = store.next_boot(device)
    boots: dict[tuple[str, int], int] = {}
    for batches in _portions(source):
        renamed = []
        for batch in batches:
            boot = boots.setdefault((batch.device, batch.boot), first_boot + len(boots))
            renamed.append(
                SampleBatch(device, boot, batch.channel, batch.first_seq, batch.t_ns, batch.raw, batch.flags)
            )
        store.commit(trial.bench, renamed, trial=trial.id)
    store.end_trial(trial.id, max(int(head["end_ns"]), trial.start_ns))
    store.save_events(trial.id, packed.events, packed.retracted)
    for entry in packed.corrections:
        store.add_correction(trial.id, entry)
    store.keep_alarms(packed.alarms)
    return store.trial(trial.id)


def _portions(source: Path) -> Iterator[list[SampleBatch]]:
    """Yield the batches of some commits at a time: one transaction each would take as long as the burn."""
    held: list[SampleBatch] = []
    for number, commit in enumerate(commits_in(source), 1):
        held += commit.batches
        if number % BLOCK_COMMITS == 0 or len(held) > MOST_BATCHES:
            yield held
            held = []
    if held:
        yield held


def commits_in(source: Path) -> Iterator[Commit]:
    """Yield a pack's commits in their order.

    Raises:
        PackError: The samples are damaged.
    """
    with _opened(source) as pack:
        try:
            with pack.open(_known(pack, source, SAMPLES)) as file:
                rows = csv.reader(_lines(file))
                if tuple(next(rows, ())) != HEAD:
                    raise PackError(f"{source}: {SAMPLES} has other columns than {', '.join(HEAD)}")
                for number, of_commit in groupby(rows, key=lambda row: row[0]):
                    parts = (_batch(part) for _, part in groupby(of_commit, key=_Streams()))
                    batches = tuple(islice(parts, MOST_BATCHES))
                    if next(parts, None) is not None:
                        raise PackError(f"{source}: commit {number} has more batches than any bench sends")
                    yield Commit(int(number), batches)
        except (ValueError, IndexError, OverflowError, csv.Error, zlib.error, zipfile.BadZipFile, EOFError) as exc:
            raise PackError(f"{source}: {SAMPLES} is damaged, or was changed: {exc}") from exc


def _lines(file: IO[bytes]) -> Iterator[str]:
    """Yield lines, none of which has to be held before it is known to be one."""
    text = io.TextIOWrapper(file, "utf-8", newline="")
    while line := text.readline(LONGEST_LINE + 1):
        if len(line) > LONGEST_LINE:
            raise ValueError("a line is longer than any that was written")
        yield line


class _Streams:
    """Tells rows of one batch: one stream, its numbers running on."""

    def __init__(self) -> None:
        self._last: list[str] = []
        self._batch = 0

    def __call__(self, row: list[str]) -> int:
        same = self._last[1:4] == row[1:4] and int(row[4]) == int(self._last[4]) + 1
        if not same:
            self._batch += 1
        self._last = row
        return self._batch


def _batch(rows: Iterator[list[str]]) -> SampleBatch:
    first: list[str] = []
    t_ns, raw, flags = [np.empty(0, np.int64)], [np.empty(0, np.float64)], [np.empty(0, np.uint8)]
    while some := list(islice(rows, ROWS_AT_ONCE)):
        first = first or some[0]
        t_ns.append(np.array([row[5] for row in some], np.int64))
        raw.append(np.array([row[6] for row in some], np.float64))
        flags.append(np.array([row[7] for row in some], np.uint8))
    _, device, boot, channel, seq = first[:5]
    return SampleBatch(
        device, int(boot), channel, int(seq), np.concatenate(t_ns), np.concatenate(raw), np.concatenate(flags)
    )


def _write_samples(commits: Iterable[Commit], file: TextIO) -> int:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(HEAD)
    count = 0
    for commit in commits:
        for batch in commit.batches:
            columns = (batch.t_ns.tolist(), map(repr, batch.raw.tolist()), batch.flags.tolist())
            names = (commit.id, batch.device, batch.boot, batch.channel)
            for seq, values in enumerate(zip(*columns, strict=True), batch.first_seq):
                writer.writerow((*names, seq, *values))
            count += len(batch)
    return count


def _member(name: str) -> zipfile.ZipInfo:
    member = zipfile.ZipInfo(name, FIRST_TIME)
    member.compress_type = zipfile.ZIP_DEFLATED
    member.external_attr = 0o644 << 16
    return member


def _opened(source: Path) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(source)
    except (zipfile.BadZipFile, OSError) as exc:
        raise PackError(f"{source} is no zip file, or cannot be read: {exc}") from exc


def _known(pack: zipfile.ZipFile, source: Path, name: str) -> zipfile.ZipInfo:
    try:
        member = pack.getinfo(name)
    except KeyError as exc:
        raise PackError(f"{source} is no pack of Emberline's: it holds no {name}") from exc
    if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        # Others may claim gigabytes before they give the first byte.
        raise PackError(
            f"{source}: {name} is compressed in a way that Emberline does not write: zip it anew as deflate"
        )
    if member.file_size > MOST_BYTES[name]:
        raise PackError(f"{source}: {name} would unpack to {member.file_size >> 20} MiB, more than any trial has")
    return member


def _text(pack: zipfile.ZipFile, source: Path, name: str) -> str:
    try:
        return pack.read(_known(pack, source, name)).decode("utf-8")
    except (zlib.error, zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError) as exc:
        raise PackError(f"{source}: {name} is damaged: {exc}") from exc
