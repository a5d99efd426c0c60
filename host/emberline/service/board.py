"""What is known of a bench now, for whoever watches; the newest state wins, announcements are kept in order."""

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from emberline.bench.bench_file import Bench
from emberline.bench.channels import Role
from emberline.curves.events import Phase
from emberline.links.arrivals import Greeting
from emberline.links.link import Link, LinkState
from emberline.service.alarms import BenchAlarms
from emberline.service.clock import Clock
from emberline.service.course import Course
from emberline.service.intake import IngestCounts
from emberline.service.newest import Newest
from emberline.service.watch import LOOKOUT_S, SECOND_NS
from emberline.store.records import CommitReceipt
from emberline.trials.alarms.co_watch import CoStanding
from emberline.trials.estimates import Estimates
from emberline.trials.live_document import LiveState, Recording, live_document
from emberline.trials.live_readings import ColdJunctions, Readings, readings_of

MAX_EVENTS = 200
"""Announcements kept for those who begin to watch; a trial has a few dozen."""
LINK, INGEST = "link", "ingest"
"""The parts of a lane whose trouble keeps readings from the disk."""


@dataclass(slots=True)
class TrialNow:
    """The open trial as it stands."""

    id: str
    label: str | None
    start_ns: int
    followed_s: float = 0.0
    phase: Phase = Phase.WAITING
    estimates: Estimates = field(default_factory=Estimates)


@dataclass
class Board:
    """The newest state of a bench.

    Attributes:
        bench: Id of the bench.
        clock: The daemon's clock.
        counts: What has passed through ingest.
        fitted: The bench with its device's calibrations; None before a device greeted.
        link: Where readings come from.
        trial: The open trial, or None.
        lost: Samples flagged lost since the trial was opened, or since the start of the daemon.
        summary: Path of the newest summary page.
        summary_document: The newest summary as JSON text.
        advice: The trial of that summary, and what would help to know its results better.
        version: Grows with every change.
        course: Its curves.
        first_commit: Id of the first commit that is in it; None before it.
        alarms: What a person must see to.
        readers: Given the readings of each commit.
        co: How the air stands against the limits of carbon monoxide; empty without a sensor.
    """

    bench: str
    clock: Clock
    counts: IngestCounts
    fitted: Bench | None = None
    link: Link | None = None
    trial: TrialNow | None = None
    lost: int = 0
    summary: str | None = None
    summary_document: str | None = None
    advice: tuple[str, tuple[str, ...]] = ("", ())
    version: int = 0
    course: Course = field(default_factory=Course)
    first_commit: int | None = None
    alarms: BenchAlarms = field(init=False)
    readers: list[Callable[[Sequence[Readings]], None]] = field(default_factory=list)
    co: tuple[CoStanding, ...] = ()
    _newest: Newest = field(init=False)
    _junctions: ColdJunctions = field(default_factory=ColdJunctions)
    _troubles: dict[str, str] = field(default_factory=dict)
    _said: list[dict[str, Any]] = field(default_factory=list)
    _said_before: int = 0
    _reminders: int = 0
    _news: asyncio.Event | None = None

    def __post_init__(self) -> None:
        """Begin without readings and alarms."""
        self._newest = Newest(self.clock.slack_s)
        self.alarms = BenchAlarms(self.bench, self.clock, self.touch)

    def committed(self, receipt: CommitReceipt) -> None:
        """Show what a commit brought."""
        if self.fitted is not None:
            if self.first_commit is None:
                self.first_commit = receipt.commit
            readings = list(readings_of(self.fitted, receipt.stored, self._junctions))
            self._newest.take(readings, self._greeting())
            for reader in self.readers:
                reader(readings)
            self.course.take(readings)
            self.course.keep(self.shown_from_ns())
        self.lost += sum(gap.next_seq - gap.first_seq for gap in receipt.flagged)
        self.touch()

    def say(self, document: dict[str, Any]) -> None:
        """Show an announcement."""
        self._said.append(document)
        excess = len(self._said) - MAX_EVENTS
        if excess > 0:
            del self._said[:excess]
            self._said_before += excess
        self.touch()

    def said_since(self, index: int) -> tuple[list[dict[str, Any]], int]:
        """Return the announcements from an index on, and the index to ask for next."""
        start = max(0, index - self._said_before)
        return self._said[start:], self._said_before + len(self._said)

    def remind(self) -> None:
        """Have those who watch look anew at what belongs to the trial: its photos, its plan."""
        self._reminders += 1
        self.touch()

    @property
    def marks(self) -> int:
        """A number that grows when events, remarks, photos or the plan are other than they were."""
        return self._said_before + len(self._said) + self._reminders

    def report(self, part: str, trouble: str) -> None:
        """Show what is wrong with a part of the bench's lane; nothing, once it is well."""
        self._troubles[part] = trouble
        self.touch()

    def follow(self, trial: TrialNow) -> None:
        """Show how far the open trial has been followed."""
        self.trial = trial
        rate = trial.estimates.rate_g_min
        if rate is not None:
            self.course.estimate(trial.start_ns + int(trial.followed_s * 1e9), rate.nominal_value)
        self.touch()

    def shown_from_ns(self) -> int:
        """Return from where on curves are shown: the open trial's start, or some minutes ago."""
        return self.clock.now_ns() - LOOKOUT_S * SECOND_NS if self.trial is None else self.trial.start_ns

    def touch(self) -> None:
        """Tell those who wait that something changed."""
        self.version += 1
        if self._news is not None:
            self._news.set()
            self._news = None

    async def changed(self, version: int, limit_s: float) -> bool:
        """Wait until the version differs, or for a limit in real seconds; return whether it does."""
        if self.version == version:
            news = self._news = self._news or asyncio.Event()
            try:
                async with asyncio.timeout(limit_s):
                    await news.wait()
            except TimeoutError:
                return False
        return True

    def document(self) -> dict[str, Any]:
        """Return the live document."""
        trial = self.trial
        return live_document(
            LiveState(
                bench=self.bench,
                now_ns=self.clock.now_ns(),
                recording=self.recording(),
                link=self.link_words(),
                trouble=self._trouble(),
                committed_ns=self.counts.last_commit_ns,
                values=self._newest.by_role,
                lost=self.lost,
                trial=None if trial is None else trial.id,
                start_ns=None if trial is None else trial.start_ns,
                label=None if trial is None else trial.label,
                t_s=None if trial is None else self._trial_s(trial),
                followed_s=None if trial is None else trial.followed_s,
                phase=Phase.WAITING if trial is None else trial.phase,
                estimates=Estimates() if trial is None else trial.estimates,
                summary=self.summary,
                alarms=self.alarms.shown,
                co=self.co,
            )
        )

    def recording(self) -> Recording:
        """Return whether readings reach the disk, by the age of the last commit."""
        last_ns = self.counts.last_commit_ns
        if last_ns is None or self.counts.trouble:
            return Recording.NOT_RECORDING
        if (self.clock.now_ns() - last_ns) * 1e-9 > self._newest.stale_s(self._greeting()):
            return Recording.NOT_RECORDING
        return Recording.WITH_GAPS if self.lost or self.silent() else Recording.RECORDING

    def link_words(self) -> str:
        """Return where the link stands, in words."""
        return LinkState.SEEKING.value if self.link is None else self.link.state.value

    def link_trouble(self) -> str:
        """Return what is wrong with the way of the readings, in words; empty while they come."""
        parts = self._troubles.get(INGEST, ""), self._troubles.get(LINK, "")
        return next(filter(None, parts), "" if self.link is None else self.link.trouble)

    def silent(self) -> list[Role]:
        """Return the roles whose readings have stopped coming."""
        return self._newest.silent(self.clock.now_ns())

    def faults(self) -> dict[str, str]:
        """Return what is wrong with which sensor, by its channel's name."""
        now_ns = self.clock.now_ns()
        words: dict[str, str] = {}
        for role, value in self._newest.by_role.items():
            channel = None if self.fitted is None else self.fitted.by_role(role)
            name = role.value if channel is None else channel.name
            if value.stale(now_ns):
                words[name] = "no reading comes"
            elif value.value is None:
                words[name] = "its converter reports a fault (a lead that is open or touches, a probe unplugged)"
        return words

    def _trial_s(self, trial: TrialNow) -> float:
        """Return the time of the newest reading within a trial."""
        return max(0.0, (self._newest.t_ns(trial.start_ns) - trial.start_ns) / 1e9)

    def _trouble(self) -> str:
        others = (words for part, words in self._troubles.items() if part not in (INGEST, LINK))
        return "; ".join(words for words in (self.counts.trouble, self.link_trouble(), *others) if words)

    def _greeting(self) -> Greeting | None:
        return None if self.link is None else self.link.greeting
