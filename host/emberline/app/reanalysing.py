"""Many trials worked out anew by this version of the program, several at a time."""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from emberline import __version__
from emberline.app.live import live_summary
from emberline.app.stored import STORE_NAME, analysis_of
from emberline.app.summaries import document_by_this_version, kept_summary, listing_text
from emberline.service.final_pass import Summed
from emberline.store.archive import READERS, Archive
from emberline.store.archive_reader import ArchiveReader
from emberline.store.errors import ArchiveError, StoreMissingError
from emberline.store.reader import StoreReader
from emberline.store.records import StoredSummary
from emberline.store.store import Store
from emberline.trials.documents import document_json, summary_document


@dataclass(frozen=True)
class Job:
    """One trial's part of the work.

    Attributes:
        name: The trial, for people.
        work: Does it, wherever and however often it is called.
    """

    name: str
    work: Callable[[], Summed | None]


@dataclass(frozen=True)
class Due:
    """What is to be done.

    Attributes:
        jobs: The work.
        done: How many trials this version has worked out already.
    """

    jobs: Sequence[Job]
    done: int


@dataclass(frozen=True)
class Outcome:
    """What came of it.

    Attributes:
        done: How many trials were worked out.
        failed: Why others were not, by their names.
    """

    done: int
    failed: Mapping[str, str]


def due_in_store(data: Path, *, again: bool) -> Due:
    """Return the work on a data folder's trials.

    Args:
        data: Data directory.
        again: Whether to work out also what this version has worked out already.

    Raises:
        StoreError: There is no store, or it cannot be read.
    """
    store = StoreReader(data / STORE_NAME)
    trials = [trial for trial in store.trials() if trial.end_ns is not None]
    due = [trial.id for trial in trials if again or kept_summary(data, store, trial) is None]
    return Due([Job(one, partial(live_summary, data, one, provisional=False)) for one in due], len(trials) - len(due))


def due_in_archive(location: str, *, again: bool) -> Due:
    """Return the work on the trials of an archive; a file that cannot be read is among it, and will fail.

    Args:
        location: Where it is, as fsspec takes it.
        again: Whether to work out also what this version has worked out already.

    Raises:
        StoreError: There is none, or it cannot be read.
    """
    archive = Archive(location)
    paths = archive.paths()
    if not paths:
        raise StoreMissingError(f"{location} holds no archived trial: `emberline archive` writes them")
    with ThreadPoolExecutor(READERS, "archive") as readers:
        current = readers.map(lambda path: not again and _is_current(archive, path), paths)
        due = [path for path, done in zip(paths, current, strict=True) if not done]
    jobs = [Job(path.rpartition("/")[2], partial(_archived_anew, location, path)) for path in due]
    return Due(jobs, len(paths) - len(due))


def reanalyse(
    executor: Executor, jobs: Sequence[Job], store: Store | None, stage: Callable[[str], None] = lambda _: None
) -> Outcome:
    """Do the work; what is done stays done if this is broken off.

    Args:
        executor: Calls the work, in whatever process.
        jobs: The work.
        store: Where results are kept that the work itself does not keep; it has one writer only.
        stage: Is told the name of each trial that is finished with.
    """
    names = {executor.submit(job.work): job.name for job in jobs}
    failed = {}
    for future in as_completed(names):
        name, error = names[future], future.exception()
        stage(name)
        if error is not None:
            failed[name] = f"{error}" or type(error).__name__
        elif (summed := future.result()) is not None and store is not None:
            store.save_events(name, summed.events, summed.retracted)
            store.save_summary(name, summed.document, summed.version, summed.listing, additions=summed.additions)
    return Outcome(len(jobs) - len(failed), failed)


def _is_current(archive: Archive, path: str) -> bool:
    try:
        reader = ArchiveReader(archive, [archive.read(path)])
    except ArchiveError:
        return False
    return all(document_by_this_version(reader, trial) is not None for trial in reader.trials())


def _archived_anew(location: str, path: str) -> None:
    """Work an archived trial out anew and put its results into its file."""
    archive = Archive(location)
    archived = archive.read(path)
    reader = ArchiveReader(archive, [archived])
    (trial,) = reader.trials()
    analysis = analysis_of(reader, trial)
    summary = StoredSummary(document_json(summary_document(analysis)), __version__, listing_text(analysis))
    archive.replace_results(archived, summary, analysis.events, analysis.retracted)
