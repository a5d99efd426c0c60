"""Summaries of trials: kept, worked out anew, and written as files."""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from emberline import __version__
from emberline.app.output import make_folder, write_text
from emberline.app.stored import STORE_NAME, analysis_of, find_trial, plan_of, started
from emberline.store.burn_reader import BurnReader
from emberline.store.errors import StoreBusyError
from emberline.store.reader import StoreReader
from emberline.store.records import Trial
from emberline.store.store import Store
from emberline.store.trials import zone_named
from emberline.trials.documents import document_json, known_corrections, summary_document

if TYPE_CHECKING:
    from emberline.trials.analysis import Analysis

# Plots load libraries that take seconds on a small computer; a summary that is kept does without.

Stage = Callable[[str], None]
"""Is told what begins, for a progress display."""

Document = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Summary:
    """A trial's summary, and where its files lie.

    Attributes:
        trial: The trial.
        document: The document.
        folder: Where its files are.
        listing: What a list of trials shows of it; empty where it was not worked out anew.
    """

    trial: Trial
    document: Document
    folder: Path
    listing: str = ""

    @property
    def page(self) -> Path:
        """The HTML file."""
        return self.folder / "summary.html"

    @property
    def text(self) -> str:
        """The document as JSON text, the same bytes as in the file."""
        return document_json(self.document)


def listed(data: Path) -> list[tuple[Trial, Document | None]]:
    """Return all trials with their summaries, in the order in which they were entered.

    Raises:
        StoreError: There is no store, or it cannot be read.
    """
    store = StoreReader(data / STORE_NAME)
    found = []
    for trial in store.trials():
        kept = store.summary(trial.id)
        # A trial that began by itself was given its plan, and with it a label, only later.
        if trial.label is None and trial.plan_text:
            trial = replace(trial, label=plan_of(trial).label)
        found.append((trial, json.loads(kept.document) if kept else None))
    return found


def document_of(data: Path, trial: Trial, stage: Stage = lambda _: None) -> Document:
    """Return a trial's summary document: as it is kept, or worked out anew where this version has not written it.

    Raises:
        StoreError: The samples cannot be read.
        OutputError: The summary's files cannot be written.
    """
    document = document_by_this_version(StoreReader(data / STORE_NAME), trial)
    return summary_of(data, trial.id, stage).document if document is None else document


def summary_of(data: Path, name: str, stage: Stage = lambda _: None) -> Summary:
    """Return a trial's summary: as it was written, or worked out anew if another version of the program wrote it.

    Args:
        data: Data directory.
        name: Id of the trial, or `last`.
        stage: Is told what begins.

    Raises:
        StoreError: There is no such store or trial, or it cannot be read.
        OutputError: The summary's files cannot be written.
    """
    store = StoreReader(data / STORE_NAME)
    trial = find_trial(store, name)
    kept = kept_summary(data, store, trial)
    if kept is not None:
        return kept
    stage("finding events, telling fuel from water")
    analysis = analysis_of(store, trial)
    document = summary_document(analysis)
    stage("drawing the summary")
    summary = write_summary(trial, analysis, document, data)
    try:
        with Store.open(store.path) as writer:
            writer.save_events(trial.id, analysis.events, analysis.retracted)
            writer.save_summary(trial.id, summary.text, __version__, summary.listing, additions=trial.additions)
    except StoreBusyError:
        # A recording program holds the store: the summary is shown and its files are new; it will be kept next time.
        pass
    return summary


def kept_summary(data: Path, store: StoreReader, trial: Trial) -> Summary | None:
    """Return a trial's summary as it was written; None where it is to be worked out anew."""
    folder = _folder(data, trial)
    document = document_by_this_version(store, trial)
    return None if document is None or not (folder / "summary.html").exists() else Summary(trial, document, folder)


def document_by_this_version(store: BurnReader, trial: Trial) -> Document | None:
    """Return a trial's kept document if this version worked it out, and knew of all that there is; else None."""
    kept = store.summary(trial.id)
    if kept is None or kept.behind or kept.version != __version__:
        return None
    document: Document = json.loads(kept.document)
    return document if known_corrections(document) == len(store.corrections(trial.id)) else None


def write_summary(trial: Trial, analysis: "Analysis", document: Document, data: Path) -> Summary:
    """Write the files of a summary.

    Raises:
        OutputError: They cannot be written.
    """
    from emberline.reports.curve_data import curve_data
    from emberline.reports.page import summary_texts
    from emberline.store.export import by_second, write

    listing = listing_text(analysis)
    summary = Summary(trial, document, _folder(data, trial), listing)
    make_folder(summary.folder)
    texts = summary_texts(analysis, started=started(trial), zone=zone_named(trial.zone))
    write_text(summary.folder / "summary.json", summary.text)
    write_text(summary.folder / "listing.json", listing)
    write_text(summary.folder / "parts.json", json.dumps({"head": texts.head, "rest": texts.rest}))
    write_text(summary.folder / "curves.json", json.dumps(curve_data(analysis), allow_nan=False))
    write_text(summary.folder / "curves.svg", texts.picture)
    write(by_second(analysis), summary.folder / "seconds.csv")
    write_text(summary.page, texts.page)
    return summary


def listing_text(analysis: "Analysis") -> str:
    """Return what a list of trials shows of one, as it is kept."""
    from emberline.trials.listing import listing_document

    return json.dumps(listing_document(analysis), ensure_ascii=False, allow_nan=False)


def _folder(data: Path, trial: Trial) -> Path:
    return data / "trials" / trial.id
