"""The trials of an archive, looked into as those of a store are."""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace

from emberline.bench.samples import SampleBatch
from emberline.curves.events import Event, Retraction
from emberline.store.archive import Archive, Archived
from emberline.store.archive_file import SUFFIX, commits_in, groups_in
from emberline.store.blocks import Commit
from emberline.store.errors import ArchiveError, UnknownSeriesError, UnknownTrialError
from emberline.store.records import Gap, StoredAlarm, StoredSummary, Trial
from emberline.trials.corrections import Correction


class ArchiveReader:
    """Trials of an archive: a `BurnReader`.

    A trial has the id that its own store gave it; where two stores gave the same one, the bench stands before it
    (`yard/2026-11-25-1`), and where even that is not enough, the name of its file.
    """

    def __init__(self, archive: Archive, archived: Iterable[Archived]) -> None:
        """Look into some trials of an archive."""
        self._archive = archive
        self._archived: dict[str, Archived] = {}
        self._named: dict[str, list[str]] = {}
        found = list(archived)
        counts = Counter(name for one in found for name in set(_names(one)))
        for one in found:
            names = _names(one)
            own = next((name for name in names if counts[name] == 1), one.path)
            self._archived[own] = one
            for name in {*names, own}:
                self._named.setdefault(name, []).append(own)

    def trials(self) -> list[Trial]:
        """Return all trials."""
        return [replace(one.trial, id=name) for name, one in self._archived.items()]

    def trial(self, trial: str) -> Trial:
        """Return one trial."""
        names = self._named.get(trial, [])
        if len(names) > 1:
            raise UnknownTrialError(f"{trial} names several trials of the archive: say one of {', '.join(names)}")
        if not names:
            raise UnknownTrialError(f"there is no trial {trial!r} in the archive {self._archive.location}")
        return replace(self._archived[names[0]].trial, id=names[0])

    def trial_commits(self, trial: Trial) -> Iterator[Commit]:
        """Yield the commits of a trial in their order."""
        path = self._of(trial.id).path
        return commits_in(groups_in(self._archive.files, path), path)

    def trial_batches(self, trial: Trial) -> Iterator[SampleBatch]:
        """Yield the batches of `trial_commits` one by one."""
        for commit in self.trial_commits(trial):
            yield from commit.batches

    def gaps(self, bench: str, start_ns: int, end_ns: int) -> list[Gap]:
        """Return the flagged losses in trials of a bench that touch a time window."""
        found = {
            gap
            for one in self._archived.values()
            if one.trial.bench == bench
            for gap in one.documents.gaps
            if gap.start_ns <= end_ns and gap.end_ns >= start_ns
        }
        return sorted(found, key=lambda gap: (gap.start_ns, gap.device, gap.channel, gap.first_seq))

    def alarms(self, bench: str, start_ns: int, end_ns: int) -> list[StoredAlarm]:
        """Return the alarms of a bench that were raised in its trials and within a time, the oldest first."""
        found = {
            alarm
            for one in self._archived.values()
            if one.trial.bench == bench
            for alarm in one.documents.alarms
            if start_ns <= alarm.raised_ns <= end_ns
        }
        return sorted(found, key=lambda alarm: (alarm.raised_ns, alarm.kind))

    def plans(self, trial: str) -> list[tuple[int, str]]:
        """Return the plan files of a trial as they were entered, each with when (UTC ns); the last one counts."""
        return list(self._of(trial).documents.plans)

    def events(self, trial: str) -> list[Event]:
        """Return the events of a trial as they were saved last."""
        return list(self._of(trial).documents.events)

    def retractions(self, trial: str) -> list[Retraction]:
        """Return what a live run announced and took back."""
        return list(self._of(trial).documents.retracted)

    def corrections(self, trial: str) -> list[Correction]:
        """Return what a person changed of a trial, in the order in which it was changed."""
        return list(self._of(trial).documents.corrections)

    def summary(self, trial: str) -> StoredSummary | None:
        """Return the summary document of a trial, or None where none was written."""
        return self._of(trial).summary

    def series(self, name: str) -> str:
        """Return the document of a planned series.

        Raises:
            UnknownSeriesError: No trial of the archive belongs to one of that name.
            ArchiveError: Two stores have two different ones of that name.
        """
        found = {document for of, document in (one.documents.series for one in self._archived.values()) if of == name}
        if not found:
            raise UnknownSeriesError(f"no trial of the archive belongs to a planned series {name!r}")
        if len(found) > 1:
            raise ArchiveError(f"the archive holds {len(found)} different series {name!r}: compare with --by instead")
        return found.pop()

    def _of(self, trial: str) -> Archived:
        return self._archived[self.trial(trial).id]


def _names(one: Archived) -> tuple[str, ...]:
    """Return the names of a trial, the shortest first."""
    stem = one.path.rpartition("/")[2].removesuffix(SUFFIX)
    return one.trial.id, f"{one.trial.bench}/{one.trial.id}", f"{one.trial.bench}/{stem}"
