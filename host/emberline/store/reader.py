"""The store as those see it who only look into it."""

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from emberline.bench.findings import Finding
from emberline.bench.samples import SampleBatch
from emberline.curves.events import Event, Retraction
from emberline.store import (
    alarms,
    corrections,
    findings,
    forwarded,
    inventory,
    notices,
    photos,
    samples,
    series,
    trials,
    upkeep,
)
from emberline.store.blocks import Commit
from emberline.store.connection import reading
from emberline.store.errors import StoreDamagedError, StorePlaceError
from emberline.store.fresh import Fresh, Place, read_fresh
from emberline.store.inventory import StoredEntry
from emberline.store.notices import Notice
from emberline.store.past import Past, read_past
from emberline.store.photos import Photo
from emberline.store.records import (
    Gap,
    Note,
    StoredAlarm,
    StoredSummary,
    Tally,
    Trial,
)
from emberline.store.schema import keep_copy
from emberline.trials.corrections import Correction

ALWAYS_NS = 2**63 - 1


class StoreReader:
    """A store to look into; every method may be called from any thread, also while another program writes.

    Methods raise `StoreError` and its kinds: `StoreMissingError` where there is no store, `UnknownTrialError` for an
    unknown id.
    """

    def __init__(self, path: Path) -> None:
        """Look into the store at `path`; it is opened anew for each call, so no reader stays behind."""
        self.path = path

    def commits(
        self, bench: str, start_ns: int = 0, end_ns: int = ALWAYS_NS, *, trial: str | None = None, after: int = 0
    ) -> Iterator[Commit]:
        """Yield the commits of a bench in their order, cut to a time window whose ends belong to it.

        Args:
            bench: Id of the bench.
            start_ns: Begin of the window, UTC nanoseconds.
            end_ns: End of the window.
            trial: Only samples that belong to this imported trial; by default those that the bench sent.
            after: Only commits with a greater id.
        """
        place: int | None = after
        while place is not None:
            with reading(self.path) as connection:
                page, place = samples.read_page(connection, bench, trial, start_ns, end_ns, place)
            yield from page

    def batches(
        self, bench: str, start_ns: int = 0, end_ns: int = ALWAYS_NS, *, trial: str | None = None, after: int = 0
    ) -> Iterator[SampleBatch]:
        """Yield the batches of `commits` one by one."""
        for commit in self.commits(bench, start_ns, end_ns, trial=trial, after=after):
            yield from commit.batches

    def fresh(self, places: Sequence[Place], most: int) -> dict[str, Fresh]:
        """Return what benches have sent and stored since each was read last; see `read_fresh`."""
        with reading(self.path) as connection:
            return read_fresh(connection, places, most)

    def trial_commits(self, trial: Trial) -> Iterator[Commit]:
        """Yield the commits of a trial in their order, from its start to its end (or so far)."""
        owner = trial.id if trial.origin == "import" else None
        end_ns = ALWAYS_NS if trial.end_ns is None else trial.end_ns
        return self.commits(trial.bench, trial.start_ns, end_ns, trial=owner)

    def trial_batches(self, trial: Trial) -> Iterator[SampleBatch]:
        """Yield the batches of `trial_commits` one by one."""
        for commit in self.trial_commits(trial):
            yield from commit.batches

    def trial_extent(self, trial: Trial) -> tuple[int, int]:
        """Return what changes when samples are added to a trial; see `samples.extent`."""
        owner = trial.id if trial.origin == "import" else None
        end_ns = ALWAYS_NS if trial.end_ns is None else trial.end_ns
        with reading(self.path) as connection:
            return samples.extent(connection, trial.bench, owner, trial.start_ns, end_ns)

    def next_seq(self, device: str, boot: int, channel: str) -> int:
        """Return the number after the greatest one that is stored or flagged lost; 0 for an unknown stream."""
        with reading(self.path) as connection:
            return samples.next_seq(connection, device, boot, channel)

    def next_boot(self, device: str) -> int:
        """Return the number after the greatest boot id known of a device; 0 for an unknown one."""
        with reading(self.path) as connection:
            return samples.next_boot(connection, device)

    def missing(self, device: str, boot: int, channel: str) -> list[tuple[int, int]]:
        """Return the ranges (first, next) between known samples that are neither stored nor flagged lost."""
        with reading(self.path) as connection:
            return samples.missing(connection, device, boot, channel)

    def tally(self, device: str, boot: int, channel: str) -> Tally:
        """Return how many samples of a stream are stored and how many are flagged lost."""
        with reading(self.path) as connection:
            return samples.tally(connection, device, boot, channel)

    def gaps(self, bench: str, start_ns: int = 0, end_ns: int = ALWAYS_NS) -> list[Gap]:
        """Return the flagged losses of a bench that touch a time window."""
        with reading(self.path) as connection:
            return samples.read_gaps(connection, bench, start_ns, end_ns)

    def trials(self) -> list[Trial]:
        """Return all trials in the order in which they were entered."""
        with reading(self.path) as connection:
            return trials.listed(connection)

    def pasts(self, benches: Iterable[str]) -> dict[str, Past]:
        """Return what matters of the past of benches, by their ids; all are read in one look."""
        with reading(self.path) as connection:
            return {bench: read_past(connection, bench) for bench in benches}

    def trial(self, trial: str) -> Trial:
        """Return one trial."""
        with reading(self.path) as connection:
            return trials.get(connection, trial)

    def plans(self, trial: str) -> list[tuple[int, str]]:
        """Return the plan files of a trial as they were entered, each with when (UTC ns); the last one counts."""
        with reading(self.path) as connection:
            return trials.plans(connection, trial)

    def events(self, trial: str) -> list[Event]:
        """Return the events of a trial as they were saved last."""
        with reading(self.path) as connection:
            return trials.events(connection, trial)

    def retractions(self, trial: str) -> list[Retraction]:
        """Return what a live run announced and took back."""
        with reading(self.path) as connection:
            return trials.retractions(connection, trial)

    def summary(self, trial: str) -> StoredSummary | None:
        """Return the summary document of a trial, or None where none was written yet."""
        with reading(self.path) as connection:
            return trials.summary(connection, trial)

    def listings(self) -> dict[str, str]:
        """Return what a list of trials shows of each that has a summary, by its id; see `save_summary`."""
        with reading(self.path) as connection:
            return trials.listings(connection)

    def corrections(self, trial: str) -> list[Correction]:
        """Return what a person changed of a trial, in the order in which it was changed."""
        with reading(self.path) as connection:
            return corrections.listed(connection, trial)

    def correction_counts(self) -> dict[str, int]:
        """Return how many corrections each corrected trial has, by its id."""
        with reading(self.path) as connection:
            return corrections.counts(connection)

    def photos(self, trial: str) -> list[Photo]:
        """Return the photos of a trial in order of time."""
        with reading(self.path) as connection:
            return photos.listed(connection, trial)

    def photo(self, trial: str, photo: int) -> bytes:
        """Return the picture of one photo, JPEG; `UnknownPhotoError` where there is none."""
        with reading(self.path) as connection:
            return photos.content(connection, trial, photo)

    def notes(self, bench: str) -> list[Note]:
        """Return the remarks on a bench in order of time."""
        with reading(self.path) as connection:
            return trials.notes(connection, bench)

    def series(self, name: str) -> str:
        """Return the document of a planned series.

        Raises:
            UnknownSeriesError: No series has that name.
        """
        with reading(self.path) as connection:
            return series.get(connection, name)

    def all_series(self) -> list[str]:
        """Return the documents of all planned series, in the order in which they were planned."""
        with reading(self.path) as connection:
            return series.listed(connection)

    def findings(self, bench: str) -> list[Finding]:
        """Return what calibrations and checks of a bench found, the oldest first."""
        with reading(self.path) as connection:
            return findings.listed(connection, bench)

    def inventory(self) -> list[StoredEntry]:
        """Return the last version of each fuel lot, pot and stove, retired or not."""
        with reading(self.path) as connection:
            return inventory.listed(connection)

    def inventory_versions(self, kind: str, name: str) -> list[StoredEntry]:
        """Return all versions of a fuel lot, pot or stove, the oldest first."""
        with reading(self.path) as connection:
            return inventory.versions(connection, kind, name)

    def guide(self, bench: str) -> str:
        """Return the state of a bench's guided burn; empty where it has none."""
        with reading(self.path) as connection:
            return inventory.guide(connection, bench)

    def benches(self) -> list[str]:
        """Return the ids of all benches."""
        with reading(self.path) as connection:
            return trials.benches(connection)

    def notices(self, since_ns: int = 0, limit: int = 20) -> list[Notice]:
        """Return the newest notices not older than a moment, in order of time."""
        with reading(self.path) as connection:
            return notices.newest(connection, since_ns, limit)

    def newest_ns(self, bench: str | None = None) -> int | None:
        """Return the time of the newest sample that a bench, or any bench, sent, UTC nanoseconds; None without one."""
        with reading(self.path) as connection:
            return samples.newest_ns(connection, bench)

    def newest_commit(self) -> int:
        """Return the id of the newest commit; 0 where there is none."""
        with reading(self.path) as connection:
            return samples.newest_commit(connection)

    def alarms(self, bench: str, start_ns: int = 0, end_ns: int = ALWAYS_NS) -> list[StoredAlarm]:
        """Return the alarms of a bench that were raised within a time whose ends belong to it, the oldest first."""
        with reading(self.path) as connection:
            return alarms.listed(connection, bench, start_ns, end_ns)

    def changed_summaries(self, server: str) -> list[tuple[int, str]]:
        """Return some of the summaries that a server has not been sent yet; see `forwarded.changed`."""
        with reading(self.path) as connection:
            return forwarded.changed(connection, server)

    def forwarded(self, server: str, trial: str) -> dict[int, list[str]]:
        """Return the lines that a server may have of a trial, by their revision, the oldest first."""
        with reading(self.path) as connection:
            return forwarded.revisions(connection, server, trial)

    def outbox_cursor(self, server: str) -> int:
        """Return the id of the last commit that a server has taken; 0 for a server not known yet."""
        with reading(self.path) as connection:
            return upkeep.outbox_cursor(connection, server)

    def probe(self) -> None:
        """Read the newest block as any other program would; shows damage that an open writer does not notice.

        Raises:
            StoreDamagedError: It cannot be read.
        """
        with reading(self.path) as connection:
            samples.probe(connection)

    def check(self) -> int:
        """Read every page and every block, and return the number of samples.

        Raises:
            StoreDamagedError: Something cannot be read.
        """
        with reading(self.path) as connection:
            problem = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
            if problem != "ok":
                raise StoreDamagedError(f"the store {self.path} is damaged ({problem}): restore it from a backup")
        count, after = 0, 0
        while True:
            with reading(self.path) as connection:
                part = samples.check_next(connection, after)
            if part is None:
                return count
            count, after = count + part[0], part[1]

    def backup(self, target: Path, *, overwrite: bool = False) -> None:
        """Copy the whole store into one file, also while it is written to, and check the copy.

        Args:
            target: The copy.
            overwrite: Whether one that exists is replaced, once the new one is whole.

        Raises:
            StorePlaceError: The target exists, its folder does not, its disk has no room, or it cannot be written.
        """
        if target.exists() and not overwrite:
            raise StorePlaceError(f"{target} exists: name a new file for the backup, or say --overwrite")
        if target.exists() and target.samefile(self.path):
            raise StorePlaceError(f"{target} is the store itself: name another file for the backup")
        if not target.parent.is_dir():
            raise StorePlaceError(f"there is no folder {target.parent}: make it, or name a file elsewhere")
        with reading(self.path) as connection:
            keep_copy(connection, target)
