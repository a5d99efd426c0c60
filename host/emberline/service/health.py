"""Whether readings reach the disk: recording, recording with gaps, or not recording; since when, and why.

The last commit decides, not the last frame. What is found is logged when it changes, not each time it is looked at.
"""

import logging
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from emberline.service.board import Board
from emberline.service.clock import Clock
from emberline.store.notices import Notice, NoticeKind
from emberline.trials.live_document import Recording

LOG = logging.getLogger(__name__)

HEALTH_SCHEMA = "emberline.health/1"
HELD_S = 5.0
"""Readings that have waited longer than this wait for a store that does not answer."""
OUTAGE_S = 10.0
"""Shortest time without recording of which a notice is kept; a device bridges that with what it keeps itself."""


@dataclass(frozen=True, slots=True)
class Disk:
    """The place of the store.

    Attributes:
        store_bytes: Size of the store.
        journal_bytes: Size of its journal.
        free_bytes: Room left.
    """

    store_bytes: int = 0
    journal_bytes: int = 0
    free_bytes: int | None = None


@dataclass(frozen=True, slots=True)
class Health:
    """How a bench's recording stands.

    Attributes:
        bench: Id of the bench.
        now_ns: The daemon's time, UTC nanoseconds.
        recording: The state.
        since_ns: When it began.
        why: Its cause in words; empty while everything is recorded.
        link: State of the link in words.
        last_commit_ns: The last commit, or None before the first.
        trial: Id of the open trial, or None.
        committed: Samples stored since the daemon began.
        repeated: Samples that came again and were stored already.
        lost: Samples flagged lost since the daemon began.
        warnings: What a person should see to though recording goes on.
        notices: What happened lately.
        disk: The place of the store.
        address: Where the health page is served, or None.
    """

    bench: str
    now_ns: int
    recording: Recording
    since_ns: int
    why: str
    link: str
    last_commit_ns: int | None
    trial: str | None
    committed: int
    repeated: int
    lost: int
    warnings: tuple[str, ...] = ()
    notices: tuple[Notice, ...] = ()
    disk: Disk = Disk()
    address: str | None = None


@dataclass
class HealthWatch:
    """Watches the state of a bench's recording.

    Attributes:
        board: What is known of the bench.
        clock: The daemon's clock.
        address: Where the health page is served, or None.
        disk: The place of the store, as it was seen last.
        notices: What happened lately, oldest first.
    """

    board: Board
    clock: Clock
    address: str | None = None
    disk: Disk = Disk()
    notices: list[Notice] = field(default_factory=list)
    _warnings: dict[str, str] = field(default_factory=dict)
    _state: Recording = Recording.NOT_RECORDING
    _since_ns: int = field(init=False)
    _why: str = ""
    _recorded: bool = False
    _causes: Counter[str] = field(default_factory=Counter)
    _nothing_held_ns: int = field(init=False)

    def __post_init__(self) -> None:
        """Begin with nothing recorded."""
        self._since_ns = self._nothing_held_ns = self.clock.now_ns()

    def warn(self, part: str, words: str) -> None:
        """Show what should be seen to about a part; nothing, once it is well. A change is logged."""
        if words != self._warnings.get(part, ""):
            if words:
                LOG.warning("%s", words)
            self._warnings[part] = words

    def look(self) -> Notice | None:
        """Look at the state; return a notice to be kept where a longer time without recording has just ended."""
        state, now_ns = self.board.recording(), self.clock.now_ns()
        if self.board.counts.held == 0:
            self._nothing_held_ns = now_ns
        why = self._cause(state)
        if state is self._state:
            if why != self._why:
                # Whoever found the cause has told it as a warning.
                LOG.debug("%s", _titled(state, why))
                self._why = why
            self._causes[why] += 1
            return None
        notice = self._outage(now_ns) if self._state is Recording.NOT_RECORDING else None
        last_ns = self.board.counts.last_commit_ns
        # The last reading on disk tells since when the next one is missing.
        self._since_ns = last_ns if state is Recording.NOT_RECORDING and last_ns is not None else now_ns
        LOG.log(logging.INFO if state is Recording.RECORDING else logging.WARNING, "%s", _titled(state, why))
        self._state, self._why, self._causes = state, why, Counter([why])
        self._recorded = True
        return notice

    def health(self) -> Health:
        """Return how the recording stands now."""
        board, counts = self.board, self.board.counts
        # What has changed since the last look is known by its cause already, and dated by the next look.
        state = board.recording()
        return Health(
            bench=board.bench,
            now_ns=self.clock.now_ns(),
            recording=state,
            since_ns=self._since_ns if state is self._state else counts.last_commit_ns or self._since_ns,
            why=self._cause(state),
            link=board.link_words(),
            last_commit_ns=counts.last_commit_ns,
            trial=None if board.trial is None else board.trial.id,
            committed=counts.committed,
            repeated=counts.repeated,
            lost=counts.lost,
            warnings=tuple(words for words in self._warnings.values() if words),
            notices=tuple(self.notices),
            disk=self.disk,
            address=self.address,
        )

    def _cause(self, state: Recording) -> str:
        board = self.board
        if state is Recording.RECORDING:
            return ""
        if state is Recording.WITH_GAPS:
            silent = ", ".join(role.value for role in board.silent())
            parts = [
                f"{board.lost} samples were lost" if board.lost else "",
                f"no reading of {silent}" if silent else "",
            ]
            return "; ".join(part for part in parts if part)
        if board.counts.trouble:
            return board.counts.trouble
        if (self.clock.now_ns() - self._nothing_held_ns) * 1e-9 > HELD_S + self.clock.slack_s:
            return f"{board.counts.held} readings wait for the store, which does not answer: is the disk hung?"
        trouble = "" if board.link is None else board.link.trouble
        if trouble:
            return trouble
        if board.counts.last_commit_ns is None:
            return f"no reading has come yet ({board.link_words()})"
        return f"no reading comes ({board.link_words()})"

    def _outage(self, now_ns: int) -> Notice | None:
        seconds = (now_ns - self._since_ns) * 1e-9
        if not self._recorded or seconds < OUTAGE_S + self.clock.slack_s:
            return None
        why = self._causes.most_common(1)[0][0].rstrip(".?!")
        text = (
            f"Nothing was recorded for {span_words(seconds)}: {why}. What the device had kept was stored"
            " afterwards; what it had not is flagged as lost."
        )
        return Notice(self._since_ns, NoticeKind.OUTAGE, text)


def health_document(health: Health) -> dict[str, Any]:
    """Return the health document as plain JSON values; times are ISO 8601 in UTC."""
    last_ns = health.last_commit_ns
    return {
        "schema": HEALTH_SCHEMA,
        "bench": health.bench,
        "time": iso(health.now_ns),
        "recording": health.recording.value,
        "since": iso(health.since_ns),
        "since_s": round((health.now_ns - health.since_ns) * 1e-9, 1),
        "why": health.why,
        "link": health.link,
        "last_commit": None if last_ns is None else iso(last_ns),
        "last_commit_age_s": None if last_ns is None else round((health.now_ns - last_ns) * 1e-9, 2),
        "trial": health.trial,
        "samples": {"stored": health.committed, "repeated": health.repeated, "lost": health.lost},
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


def iso(t_ns: int) -> str:
    """Return a moment as ISO 8601 in UTC, to the millisecond."""
    moment = datetime.fromtimestamp(t_ns // 1_000_000_000, UTC).replace(microsecond=t_ns % 1_000_000_000 // 1000)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def span_words(seconds: float) -> str:
    """Return a span of time in its two largest units."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s"
    if whole < 86_400:
        return f"{whole // 3600} h {whole % 3600 // 60} min"
    return f"{whole // 86_400} d {whole % 86_400 // 3600} h"


def _titled(state: Recording, why: str) -> str:
    return f"{state.value}: {why}" if why else state.value


def newest(notices: Sequence[Notice], most: int = 5) -> list[Notice]:
    """Return the newest of some notices that are in order of time."""
    return list(notices[-most:])
