"""Many trials worked out anew by this version of the program, several at a time."""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor, as_completed
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from emberline import __version__
from emberline.app.live import live_summary
from emberline.app.stored import STORE_NAME, analysis_of
from emberline.app.summaries import document_by_this_version, kept_summary, listing_text
from emberline.service.final_pass import Summed
from emberline.store.archive import Archive
from emberline.store.archive_reader import ArchiveReader
from emberline.store.errors import StoreMissingError
from emberline.store.reader import StoreReader
from emberline.store.records import StoredSummary
from emberline.store.store import Store
from emberline.trials.documents import document_json, summary_document


@dataclass(frozen=True)
class Job:
    """One trial's part of the work.

    Attributes:
        name: The trial, for people.
        work: Does it, wherever it is called; returns None where there was nothing to be done.
    """

    name: str
    work: Callable[[], Summed | str | None]


@dataclass(frozen=True)
class Outcome:
    """What came of it.

    Attributes:
        done: How many trials were worked out.
        failed: Why others were not, by their names.
    """

    done: int
    failed: Mapping[str, str]


def jobs_in_store(data: Path, *, again: bool) -> list[Job]:
    """Return the work on a data folder's trials.

    Args:
        data: Data directory.
        again: Whether to work out also what this version has worked out already.

    Raises:
        StoreError: There is no store, or it cannot be read.
    """
    trials = StoreReader(data / STORE_NAME).trials()
    return [Job(one.id, partial(_summed, data, one.id, again)) for one in trials if one.end_ns is not None]


def jobs_in_archive(location: str, *, again: bool) -> list[Job]:
    """Return the work on the trials of an archive.

    Args:
        location: Where it is, as fsspec takes it.
        again: Whether to work out also what this version has worked out already.

    Raises:
        StoreError: There is none, or it cannot be read.
    """
    paths = Archive(location).paths()
    if not paths:
        raise StoreMissingError(f"{location} holds no archived trial: `emberline archive` writes them")
    return [Job(path.rpartition("/")[2], partial(_archived_anew, location, path, again)) for path in paths]


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
    done, failed = 0, {}
    for future in as_completed(names):
        name, error = names.pop(future), future.exception()
        stage(name)
        if error is not None:
            failed[name] = f"{error}" or type(error).__name__
            continue
        result = future.result()
        done += result is not None
        if isinstance(result, Summed) and store is not None:
            store.save_events(name, result.events, result.retracted)
            store.save_summary(name, result.document, result.version, result.listing)
    return Outcome(done, failed)


def _summed(data: Path, trial_id: str, again: bool) -> Summed | None:
    store = StoreReader(data / STORE_NAME)
    if not again and kept_summary(data, store, store.trial(trial_id)) is not None:
        return None
    return live_summary(data, trial_id, provisional=False)


def _archived_anew(location: str, path: str, again: bool) -> str | None:
    """Work an archived trial out anew and put its results into its file; return its name, None where that was done."""
    archive = Archive(location)
    archived = archive.read(path)
    reader = ArchiveReader(archive, [archived])
    (trial,) = reader.trials()
    if not again and document_by_this_version(reader, trial) is not None:
        return None
    analysis = analysis_of(reader, trial)
    summary = StoredSummary(document_json(summary_document(analysis)), __version__, listing_text(analysis))
    archive.replace_results(archived, summary, analysis.events, analysis.retracted)
    return trial.id
