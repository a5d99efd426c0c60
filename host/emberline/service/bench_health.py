"""Whether a bench's readings reach the disk: recording, recording with gaps, or not recording; since when, and why.

The last commit decides, not the last frame. What is found is logged when it changes, not each time it is looked at.
"""

import logging
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from emberline.service.board import Board
from emberline.service.clock import Clock
from emberline.service.time_words import iso, span_words
from emberline.store.notices import Notice, NoticeKind
from emberline.trials.live_document import Recording

LOG = logging.getLogger(__name__)

HELD_S = 5.0
"""Readings that have waited longer than this wait for a store that does not answer."""
OUTAGE_S = 10.0
"""Shortest time without recording of which a notice is kept; a device bridges that with what it keeps itself."""


@dataclass(frozen=True, slots=True)
class BenchHealth:
    """How a bench's recording stands.

    Attributes:
        bench: Id of the bench.
        recording: The state.
        since_ns: When it began.
        why: Its cause in words; empty while everything is recorded.
        link: State of the link in words.
        last_commit_ns: The last commit, or None before the first.
        trial: Id of the open trial, or None.
        committed: Samples stored since the daemon began.
        repeated: Samples that came again and were stored already.
        lost: Samples flagged lost since the daemon began.
    """

    bench: str
    recording: Recording
    since_ns: int
    why: str
    link: str
    last_commit_ns: int | None
    trial: str | None
    committed: int
    repeated: int
    lost: int


@dataclass
class BenchWatch:
    """Watches the state of a bench's recording.

    Attributes:
        board: What is known of the bench.
        clock: The daemon's clock.
        changes: How often a look has found another state or cause than the one before.
    """

    board: Board
    clock: Clock
    changes: int = 0
    _state: Recording = Recording.NOT_RECORDING
    _since_ns: int = field(init=False)
    _why: str = ""
    _recorded: bool = False
    _causes: Counter[str] = field(default_factory=Counter)
    _nothing_held_ns: int = field(init=False)

    def __post_init__(self) -> None:
        """Begin with nothing recorded."""
        self._since_ns = self._nothing_held_ns = self.clock.now_ns()

    def look(self) -> Notice | None:
        """Look at the state; return a notice to be kept where a longer time without recording has just ended."""
        state, now_ns = self.board.recording(), self.clock.now_ns()
        if self.board.counts.held == 0:
            self._nothing_held_ns = now_ns
        why = self._cause(state)
        if (state, why) != (self._state, self._why):
            self.changes += 1
        if state is self._state:
            if why != self._why:
                # Whoever found the cause has told it as a warning.
                LOG.debug("%s", self._titled(state, why))
                self._why = why
            if state is Recording.NOT_RECORDING:
                # Only an outage tells its cause afterwards; gaps may come for weeks, each with a number of its own.
                self._causes[why] += 1
            return None
        notice = self._outage(now_ns) if self._state is Recording.NOT_RECORDING else None
        last_ns = self.board.counts.last_commit_ns
        # The last reading on disk tells since when the next one is missing.
        self._since_ns = last_ns if state is Recording.NOT_RECORDING and last_ns is not None else now_ns
        LOG.log(logging.INFO if state is Recording.RECORDING else logging.WARNING, "%s", self._titled(state, why))
        self._state, self._why, self._causes = state, why, Counter([why])
        self._recorded = True
        return notice

    def health(self) -> BenchHealth:
        """Return how the recording stands now."""
        board, counts = self.board, self.board.counts
        # What has changed since the last look is known by its cause already, and dated by the next look.
        state = board.recording()
        return BenchHealth(
            bench=board.bench,
            recording=state,
            since_ns=self._since_ns if state is self._state else counts.last_commit_ns or self._since_ns,
            why=self._cause(state),
            link=board.link_words(),
            last_commit_ns=counts.last_commit_ns,
            trial=None if board.trial is None else board.trial.id,
            committed=counts.committed,
            repeated=counts.repeated,
            lost=counts.lost,
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
        held_s = (self.clock.now_ns() - self._nothing_held_ns) * 1e-9
        if board.counts.held and held_s > HELD_S + self.clock.slack_s:
            return f"{board.counts.held} readings wait for the store, which does not answer: is the disk hung?"
        if trouble := board.link_trouble():
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
            f"Nothing of bench {self.board.bench} was recorded for {span_words(seconds)}: {why}. What the device had"
            " kept was stored afterwards; what it had not is flagged as lost."
        )
        return Notice(self._since_ns, NoticeKind.OUTAGE, text)

    def _titled(self, state: Recording, why: str) -> str:
        line = f"{self.board.bench}: {state.value}"
        return f"{line}: {why}" if why else line


def bench_document(health: BenchHealth, now_ns: int) -> dict[str, Any]:
    """Return a bench's part of the health document as plain JSON values; times are ISO 8601 in UTC."""
    last_ns = health.last_commit_ns
    return {
        "bench": health.bench,
        "recording": health.recording.value,
        "since": iso(health.since_ns),
        "since_s": round((now_ns - health.since_ns) * 1e-9, 1),
        "why": health.why,
        "link": health.link,
        "last_commit": None if last_ns is None else iso(last_ns),
        "last_commit_age_s": None if last_ns is None else round((now_ns - last_ns) * 1e-9, 2),
        "trial": health.trial,
        "samples": {"stored": health.committed, "repeated": health.repeated, "lost": health.lost},
    }
