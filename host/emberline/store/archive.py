"""An archive: trials of many stores, a file each, by bench and month, on any file system that fsspec knows.

`LOCATION/bench=yard/month=2026-11/2026-11-25-1-18a3f00d.parquet`: the name is the trial's, and when it was entered, for
two stores may well give two burns of one day the same id. The month is that of its start, UTC.
"""

import hashlib
import json
import re
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from urllib.parse import quote

from emberline.curves.events import Event, Retraction
from emberline.store.archive_file import SUFFIX, groups_in, read_texts, row_groups, write_file
from emberline.store.errors import ArchiveError, PackError, StoreMissingError
from emberline.store.reader import StoreReader
from emberline.store.records import StoredSummary, Trial
from emberline.store.trial_documents import TRIAL, TrialDocuments, json_text, said_documents, texts_of
from emberline.store.trial_documents import read_texts as read_documents

SCHEMA = "emberline.archive/1"
ABOUT, SUMMARY = "archive.json", "summary.json"
NAME = re.compile(r"bench=[^/]+/month=\d{4}-\d\d/[^/]+\.parquet")
READERS = 8
"""Files whose documents are read at a time: on a server far away, each takes some round trips."""


@dataclass(frozen=True)
class Archived:
    """A trial as an archive has it.

    Attributes:
        path: Its file.
        trial: The trial, under the id that it has in its own store.
        documents: What is known of it.
        summary: Its summary, or None.
        fingerprint: Of what the store had when it was archived; see `fingerprint_of`.
    """

    path: str
    trial: Trial
    documents: TrialDocuments
    summary: StoredSummary | None
    fingerprint: str


class Archive:
    """One archive.

    Attributes:
        location: As a person named it.
        files: Its file system, of fsspec.
    """

    def __init__(self, location: str) -> None:
        """Look at a location; nothing is made there yet.

        Raises:
            ArchiveError: There is no such kind of location, or a package for it is missing.
        """
        try:
            from fsspec.core import url_to_fs
        except ImportError as exc:
            raise ArchiveError("an archive needs the extra archive: pip install 'emberline[archive]'") from exc
        try:
            self.files, root = url_to_fs(location)
        except (ImportError, ValueError) as exc:
            raise ArchiveError(f"{location} cannot be used for an archive: {exc}") from exc
        self.location = location
        self._root = str(root).rstrip("/")

    def path_of(self, trial: Trial) -> str:
        """Return the file of a trial."""
        month = datetime.fromtimestamp(trial.start_ns // 10**9, UTC).strftime("%Y-%m")
        # A bench of another's pack may have any name; it must not become a path.
        return f"{self._root}/bench={quote(trial.bench, safe='')}/month={month}/{trial.id}-{trial.created_ns:x}{SUFFIX}"

    def paths(self) -> list[str]:
        """Return the files of all trials, in order; empty where there is no archive.

        Raises:
            ArchiveError: The location cannot be read.
        """
        try:
            self.files.invalidate_cache()
            found = self.files.find(self._root)
        except OSError as exc:
            raise ArchiveError(f"{self.location} cannot be read: {exc}") from exc
        return sorted(path for path in found if NAME.fullmatch(path[len(self._root) + 1 :]))

    def read(self, path: str) -> Archived:
        """Return what an archive has of a trial, but for its samples.

        Raises:
            ArchiveError: The file cannot be read, or is damaged.
        """
        texts = read_texts(self.files, path)
        try:
            documents = read_documents(texts, path)
            about = json.loads(texts[ABOUT])
            if about["schema"] != SCHEMA:
                raise ArchiveError(f"{path} is of another kind of archive ({about['schema']}): use a newer Emberline")
            summary = None
            if SUMMARY in texts:
                summary = StoredSummary(texts[SUMMARY], str(about["version"]), str(about["listing"]))
            return Archived(path, documents.trial, documents, summary, str(about["fingerprint"]))
        except (PackError, ValueError, KeyError, TypeError, RecursionError) as exc:
            raise ArchiveError(f"{path} is no file of an archive: {exc}") from exc

    def read_all(self) -> list[Archived]:
        """Return what the archive has of all its trials, in the order in which they were entered.

        Raises:
            StoreMissingError: There is none.
            ArchiveError: A file cannot be read, or is damaged.
        """
        paths = self.paths()
        if not paths:
            raise StoreMissingError(f"{self.location} holds no archived trial: `emberline archive` writes them")
        with ThreadPoolExecutor(READERS, "archive") as readers:
            found = list(readers.map(self.read, paths))
        return sorted(found, key=lambda one: (one.trial.created_ns, one.path))

    def keep(self, store: StoreReader, trial: Trial) -> bool:
        """Archive a trial that has ended, unless the archive has it as it is now; return whether it was written.

        Raises:
            ExportError: It is still running, or the archive cannot be written.
            StoreError: The trial cannot be read.
        """
        path, texts, summary = self.path_of(trial), texts_of(store, trial), store.summary(trial.id)
        fingerprint = fingerprint_of(texts, summary, store.trial_extent(trial))
        if fingerprint == self._fingerprint_at(path):
            return False
        self._write(path, {**texts, **_about(summary, fingerprint)}, row_groups(store.trial_commits(trial)))
        return True

    def replace_results(
        self, one: Archived, summary: StoredSummary, events: Sequence[Event], retracted: Sequence[Retraction]
    ) -> None:
        """Put what was worked out anew in the place of an archived trial's results.

        Raises:
            ExportError: The archive cannot be written.
            ArchiveError: The file cannot be read, or is damaged.
        """
        texts = read_texts(self.files, one.path)
        said = json.loads(texts[TRIAL]) | said_documents(events, retracted)
        texts |= {TRIAL: json_text(said), **_about(summary, one.fingerprint)}
        self._write(one.path, texts, groups_in(self.files, one.path))

    def _write(self, path: str, texts: dict[str, str], groups: Any) -> None:
        write_file(self.files, path, texts, groups)

    def _fingerprint_at(self, path: str) -> str:
        try:
            return self.read(path).fingerprint if self.files.exists(path) else ""
        except ArchiveError:
            return ""  # damaged, and written anew


def fingerprint_of(texts: dict[str, str], summary: StoredSummary | None, extent: tuple[int, int]) -> str:
    """Return what changes when anything of a trial changes in its store, whichever version of the program looks.

    Args:
        texts: Its documents.
        summary: Its summary.
        extent: Of its samples; see `StoreReader.trial_extent`.
    """
    said = {name: value for name, value in json.loads(texts[TRIAL]).items() if name != "software"}
    results = None if summary is None else [summary.document, summary.version, summary.listing]
    whole = [said, {name: text for name, text in sorted(texts.items()) if name != TRIAL}, results, extent]
    return hashlib.sha256(json.dumps(whole, sort_keys=True).encode()).hexdigest()


def _about(summary: StoredSummary | None, fingerprint: str) -> dict[str, str]:
    about: dict[str, Any] = {"schema": SCHEMA, "fingerprint": fingerprint}
    if summary is None:
        return {ABOUT: json_text(about)}
    return {
        ABOUT: json_text({**about, "version": summary.version, "listing": summary.listing}),
        SUMMARY: summary.document,
    }
