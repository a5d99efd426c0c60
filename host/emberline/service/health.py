"""How the daemon's recording stands: that of each bench, the worst of them for the whole, the store and its disk."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from emberline.service.bench_health import BenchHealth, BenchWatch, bench_document
from emberline.service.board import Board
from emberline.service.clock import Clock
from emberline.service.time_words import iso
from emberline.store.notices import Notice
from emberline.trials.live_document import Recording

LOG = logging.getLogger(__name__)

HEALTH_SCHEMA = "emberline.health/2"
WORST_FIRST = (Recording.NOT_RECORDING, Recording.WITH_GAPS, Recording.RECORDING)
MOST_NAMED = 3
"""Benches whose trouble is told in the one line for the whole."""


@dataclass(frozen=True, slots=True)
class Disk:
    """The place of the store.

    Attributes:
        store_bytes: Size of the store.
        journal_bytes: Size of its journal.
        free_bytes: Room left.
        total_bytes: Size of the disk.
    """

    store_bytes: int = 0
    journal_bytes: int = 0
    free_bytes: int | None = None
    total_bytes: int | None = None


@dataclass(frozen=True, slots=True)
class Health:
    """How the recording stands.

    Attributes:
        now_ns: The daemon's time, UTC nanoseconds.
        benches: How that of each bench stands; none while a daemon still looks for its benches.
        warnings: What a person should see to though recording goes on.
        notices: What happened lately.
        disk: The place of the store.
        address: Where the health page is served, or None.
        begun_ns: When the daemon began to look for benches.
    """

    now_ns: int
    benches: tuple[BenchHealth, ...]
    warnings: tuple[str, ...] = ()
    notices: tuple[Notice, ...] = ()
    disk: Disk = Disk()
    address: str | None = None
    begun_ns: int = 0

    @property
    def recording(self) -> Recording:
        """The state of the bench that fares worst."""
        return min((one.recording for one in self.benches), key=WORST_FIRST.index, default=Recording.NOT_RECORDING)

    @property
    def since_ns(self) -> int:
        """When the first of the benches in that state came to it."""
        return min((one.since_ns for one in self._worst), default=self.begun_ns)

    @property
    def why(self) -> str:
        """What is the matter with the benches in that state; each is named where there are several."""
        if not self.benches:
            return "no bench has been heard of yet: are they switched on, and does the broker keep their hellos?"
        if len(self.benches) == 1:
            return self.benches[0].why
        told = [f"{one.bench}: {one.why}" for one in self._worst if one.why]
        more = f"; and {len(told) - MOST_NAMED} benches more" if len(told) > MOST_NAMED else ""
        return "; ".join(told[:MOST_NAMED]) + more

    @property
    def _worst(self) -> list[BenchHealth]:
        state = self.recording
        return [one for one in self.benches if one.recording is state]


@dataclass
class HealthWatch:
    """Watches the state of the recording.

    Attributes:
        clock: The daemon's clock.
        benches: Watch over each bench.
        address: Where the health page is served, or None.
        disk: The place of the store, as it was seen last.
        notices: What happened lately, oldest first.
        warned: How often a warning has changed.
    """

    clock: Clock
    benches: list[BenchWatch] = field(default_factory=list)
    address: str | None = None
    disk: Disk = Disk()
    notices: list[Notice] = field(default_factory=list)
    warned: int = 0
    _warnings: dict[str, str] = field(default_factory=dict)
    _begun_ns: int = 0
    _line: tuple[tuple[int, int], str] = ((-1, 0), "")

    def __post_init__(self) -> None:
        self._begun_ns = self.clock.now_ns()

    def over(self, board: Board) -> BenchWatch:
        """Watch over one bench more."""
        watch = BenchWatch(board, self.clock)
        self.benches.append(watch)
        return watch

    def warn(self, part: str, words: str) -> None:
        """Show what should be seen to about a part; nothing, once it is well. A change is logged."""
        if words != self._warnings.get(part, ""):
            if words:
                LOG.warning("%s", words)
            self._warnings[part] = words
            self.warned += 1

    def look(self) -> list[Notice]:
        """Look at every bench; return the notices to be kept."""
        return [notice for watch in self.benches if (notice := watch.look()) is not None]

    def status_line(self) -> str:
        """Return the state, its beginning and its cause in one line, as the last look has found them."""
        found = len(self.benches), sum(watch.changes for watch in self.benches)
        if found != self._line[0]:
            # Which is seldom, while a thousand benches are looked at twice a second.
            self._line = found, status_line(self.health())
        return self._line[1]

    def health(self, only: BenchWatch | None = None) -> Health:
        """Return how the recording stands now: of all benches, or as one of them sees it."""
        return Health(
            now_ns=self.clock.now_ns(),
            benches=tuple(watch.health() for watch in (self.benches if only is None else (only,))),
            warnings=tuple(words for words in self._warnings.values() if words),
            notices=tuple(self.notices),
            disk=self.disk,
            address=self.address,
            begun_ns=self._begun_ns,
        )


def health_document(health: Health) -> dict[str, Any]:
    """Return the health document as plain JSON values; times are ISO 8601 in UTC."""
    return {
        "schema": HEALTH_SCHEMA,
        "time": iso(health.now_ns),
        "recording": health.recording.value,
        "since": iso(health.since_ns),
        "since_s": round((health.now_ns - health.since_ns) * 1e-9, 1),
        "why": health.why,
        "benches": [bench_document(one, health.now_ns) for one in health.benches],
        "warnings": list(health.warnings),
        "notices": [{"time": iso(one.t_ns), "kind": one.kind.value, "text": one.text} for one in health.notices],
        "store_bytes": health.disk.store_bytes,
        "journal_bytes": health.disk.journal_bytes,
        "disk_free_bytes": health.disk.free_bytes,
        "address": health.address,
    }


def status_line(health: Health) -> str:
    """Return the state, its beginning and its cause in one line."""
    line = f"{health.recording.value} since {iso(health.since_ns)}"
    return f"{line}: {health.why}" if health.why else line


def newest(notices: Sequence[Notice], most: int = 5) -> list[Notice]:
    """Return the newest of some notices that are in order of time."""
    return list(notices[-most:])
