"""What is read of trials, wherever they are kept: a daemon's store, or an archive of many stores."""

from collections.abc import Iterator, Sequence
from typing import Protocol

from emberline.bench.samples import SampleBatch
from emberline.curves.events import Event, Retraction
from emberline.store.blocks import Commit
from emberline.store.records import Gap, StoredAlarm, StoredSummary, Trial
from emberline.trials.corrections import Correction


class BurnReader(Protocol):
    """Trials to look into.

    Methods raise `StoreError` and its kinds: `UnknownTrialError` for an id that there is not, `UnknownSeriesError` for
    such a series.
    """

    def trials(self) -> Sequence[Trial]:
        """Return all trials."""

    def trial(self, trial: str) -> Trial:
        """Return one trial."""

    def trial_commits(self, trial: Trial) -> Iterator[Commit]:
        """Yield the commits of a trial in their order."""

    def trial_batches(self, trial: Trial) -> Iterator[SampleBatch]:
        """Yield the batches of `trial_commits` one by one."""

    def gaps(self, bench: str, start_ns: int, end_ns: int) -> list[Gap]:
        """Return the flagged losses of a bench that touch a time window."""

    def alarms(self, bench: str, start_ns: int, end_ns: int) -> list[StoredAlarm]:
        """Return the alarms of a bench that were raised within a time whose ends belong to it, the oldest first."""

    def plans(self, trial: str) -> list[tuple[int, str]]:
        """Return the plan files of a trial as they were entered, each with when (UTC ns); the last one counts."""

    def events(self, trial: str) -> list[Event]:
        """Return the events of a trial as they were saved last."""

    def retractions(self, trial: str) -> list[Retraction]:
        """Return what a live run announced and took back."""

    def corrections(self, trial: str) -> list[Correction]:
        """Return what a person changed of a trial, in the order in which it was changed."""

    def summary(self, trial: str) -> StoredSummary | None:
        """Return the summary document of a trial, or None where none was written yet."""

    def series(self, name: str) -> str:
        """Return the document of a planned series."""
