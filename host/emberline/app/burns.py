"""Trials with their summaries, wherever they are kept: in a data folder's store, or in an archive of many stores."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from emberline.app.stored import STORE_NAME, analysis_of
from emberline.app.summaries import Document, Stage, document_by_this_version, document_of
from emberline.store.archive import Archive
from emberline.store.archive_reader import ArchiveReader
from emberline.store.burn_reader import BurnReader
from emberline.store.reader import StoreReader
from emberline.store.records import Trial
from emberline.trials.documents import summary_document


@dataclass(frozen=True)
class Burns:
    """Trials to be compared.

    Attributes:
        reader: The trials.
        document: Returns the summary document of one; one that this version has not written is worked out anew.
    """

    reader: BurnReader
    document: Callable[[Trial], Document]


def stored_burns(data: Path, stage: Stage = lambda _: None) -> Burns:
    """Return the trials of a data folder.

    Args:
        data: Data directory.
        stage: Is told what begins.
    """
    return Burns(StoreReader(data / STORE_NAME), lambda trial: document_of(data, trial, stage))


def archived_burns(location: str, stage: Stage = lambda _: None) -> Burns:
    """Return the trials of an archive.

    Args:
        location: Where it is, as fsspec takes it.
        stage: Is told what begins.

    Raises:
        StoreError: There is none, or it cannot be read.
    """
    stage("reading the archive")
    archive = Archive(location)
    reader = ArchiveReader(archive, archive.read_all())

    def document(trial: Trial) -> Document:
        kept = document_by_this_version(reader, trial)
        if kept is not None:
            return kept
        # `emberline reanalyse` would keep it; looking does not write.
        stage(f"finding the events of {trial.id}")
        return summary_document(analysis_of(reader, trial))

    return Burns(reader, document)
