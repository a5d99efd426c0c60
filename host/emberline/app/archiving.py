"""The trials of a data folder, kept in an archive as well."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from emberline.app.stored import STORE_NAME
from emberline.store.archive import Archive
from emberline.store.reader import StoreReader
from emberline.store.records import Trial


@dataclass(frozen=True)
class Archiving:
    """What is to be done to have an archive hold a data folder's trials.

    Attributes:
        archive: The archive.
        store: Where the trials are.
        trials: Those that have ended.
        running: How many have not.
    """

    archive: Archive
    store: StoreReader
    trials: tuple[Trial, ...]
    running: int

    def run(self, stage: Callable[[str], None] = lambda _: None) -> int:
        """Write what the archive does not have as it is now; return how many trials that were.

        Each trial is whole in the archive before the next one begins, so that a run that was broken off is gone on
        with by another.

        Args:
            stage: Is told the name of each trial before it is looked at.

        Raises:
            ExportError: The archive cannot be written.
            StoreError: A trial cannot be read.
        """
        written = 0
        for trial in self.trials:
            stage(trial.id)
            written += self.archive.keep(self.store, trial)
        return written


def archiving(data: Path, location: str) -> Archiving:
    """Look what there is to be archived.

    Args:
        data: Data directory.
        location: Where the archive is or will be, as fsspec takes it.

    Raises:
        StoreError: There is no store, it cannot be read, or there is no such kind of location.
    """
    archive, store = Archive(location), StoreReader(data / STORE_NAME)
    trials = store.trials()
    ended = tuple(trial for trial in trials if trial.end_ns is not None)
    return Archiving(archive, store, ended, len(trials) - len(ended))
