"""The alarms of a bench as people see them: raised, told again until somebody has seen them, cleared.

What raises and clears them is decided elsewhere (`trials.alarms`); here is kept who has seen them. After a restart an
alarm whose cause lasts is told anew, whoever had seen it.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from enum import StrEnum

from emberline.service.clock import Clock
from emberline.service.errors import RequestError
from emberline.service.watch import FoundAlarms
from emberline.trials.alarms import TITLES, AlarmKind
from emberline.trials.alarms.alarm import OF_THE_BENCH, Danger, Safe, Verdict
from emberline.trials.live_document import AlarmShown

LOG = logging.getLogger(__name__)

AGAIN_S = 30.0
"""Time after which an alarm that nobody has seen is told again, real seconds."""
MOST_NAME = 80


class Happening(StrEnum):
    """What has happened to an alarm."""

    RAISED = "raised"
    STILL = "still"
    ACKNOWLEDGED = "acknowledged"
    GONE = "gone"


@dataclass(frozen=True, slots=True)
class AlarmNews:
    """Something that happened to an alarm.

    Attributes:
        bench: Id of the bench.
        happening: What happened.
        alarm: The alarm as it stands since.
    """

    bench: str
    happening: Happening
    alarm: AlarmShown

    @property
    def title(self) -> str:
        """What the alarm is called."""
        return TITLES[self.alarm.kind]


@dataclass
class BenchAlarms:
    """The alarms of one bench.

    Attributes:
        bench: Id of the bench.
        clock: The daemon's clock.
        changed: Called when something is to be shown otherwise.
        listeners: Told whatever happens to an alarm; they do not wait.
        raised_so_far: How many were raised.
    """

    bench: str
    clock: Clock
    changed: Callable[[], None] = lambda: None
    listeners: list[Callable[[AlarmNews], None]] = field(default_factory=list)
    raised_so_far: int = 0
    _shown: dict[AlarmKind, AlarmShown] = field(default_factory=dict)
    _told_ns: dict[AlarmKind, int] = field(default_factory=dict)
    _rank: dict[AlarmKind, int] = field(default_factory=dict)
    _known_ns: int = 0

    @property
    def shown(self) -> tuple[AlarmShown, ...]:
        """The alarms that stand, and those whose cause has gone before anybody had seen them; the newest last."""
        return tuple(sorted(self._shown.values(), key=lambda one: one.raised_ns))

    def standing(self) -> frozenset[AlarmKind]:
        """Return the kinds of the alarms whose cause lasts."""
        return frozenset(kind for kind in self._shown if self._stands(kind))

    def unseen(self) -> int:
        """Return how many alarms nobody has acknowledged."""
        return sum(one.acknowledged_ns is None for one in self._shown.values())

    def found(self, found: FoundAlarms) -> None:
        """Take over what was found in the record."""
        standing = [alarm.kind for alarm in found.newest if alarm.cleared_s is None]
        for alarm in found.newest:
            raised_ns = found.start_ns + round(alarm.raised_s * 1e9)
            past = alarm.cleared_s is not None and (found.first or raised_ns <= self._known_ns)
            self._known_ns = max(self._known_ns, raised_ns)
            if not past and not self._stands(alarm.kind):
                self.raised(alarm.kind, alarm.text, raised_ns)
        for kind in AlarmKind:
            if kind not in OF_THE_BENCH and self._stands(kind) and kind not in standing:
                self.cleared(kind)

    def judged(self, kind: AlarmKind, verdict: Verdict) -> None:
        """Take over what was found of the bench itself just now; more that is wrong than before is raised anew."""
        if isinstance(verdict, Danger) and (not self._stands(kind) or verdict.rank > self._rank.get(kind, 0)):
            self._rank[kind] = verdict.rank
            self.raised(kind, verdict.text, self.clock.now_ns())
        elif isinstance(verdict, Safe) and self._stands(kind):
            self.cleared(kind)

    def raised(self, kind: AlarmKind, text: str, raised_ns: int) -> None:
        """Raise an alarm."""
        LOG.warning("%s: alarm: %s. %s", self.bench, TITLES[kind], text)
        self._shown[kind] = AlarmShown(kind, text, raised_ns)
        self._told_ns[kind] = self.clock.now_ns()
        self.raised_so_far += 1
        self._tell(Happening.RAISED, self._shown[kind])

    def cleared(self, kind: AlarmKind) -> None:
        """Note that the cause of an alarm has gone; one that somebody has seen is shown no more."""
        LOG.info("%s: the cause of this alarm has gone: %s", self.bench, TITLES[kind])
        shown = replace(self._shown.pop(kind), cleared_ns=self.clock.now_ns())
        if shown.acknowledged_ns is None:
            self._shown[kind] = shown
        self._tell(Happening.GONE, shown)

    def acknowledge(self, who: str, kind: str | None = None) -> list[str]:
        """Note that somebody has seen the alarm of a kind, or all of them; return their titles.

        Raises:
            RequestError: There is no such alarm that nobody has seen.
        """
        who = " ".join(who.split())[:MOST_NAME]
        unseen = [one for one in self.shown if one.acknowledged_ns is None and kind in (None, one.kind.value)]
        if not unseen:
            raise RequestError("there is no such alarm that nobody has acknowledged")
        for one in unseen:
            LOG.info("%s: alarm acknowledged by %s: %s", self.bench, who or "somebody", TITLES[one.kind])
            seen = replace(one, acknowledged_ns=self.clock.now_ns(), acknowledged_by=who)
            if one.cleared_ns is not None:
                del self._shown[one.kind]
            else:
                self._shown[one.kind] = seen
            self._tell(Happening.ACKNOWLEDGED, seen)
        return [TITLES[one.kind] for one in unseen]

    def remind(self) -> None:
        """Tell again what stands and nobody has seen for a while."""
        now_ns = self.clock.now_ns()
        for kind, shown in self._shown.items():
            waited_s = self.clock.real_s((now_ns - self._told_ns[kind]) * 1e-9)
            if shown.acknowledged_ns is None and shown.cleared_ns is None and waited_s >= AGAIN_S:
                LOG.warning("%s: alarm, still: %s", self.bench, TITLES[kind])
                self._shown[kind] = replace(shown, told=shown.told + 1)
                self._told_ns[kind] = now_ns
                self._tell(Happening.STILL, self._shown[kind])

    def _tell(self, happening: Happening, alarm: AlarmShown) -> None:
        news = AlarmNews(self.bench, happening, alarm)
        for listener in self.listeners:
            listener(news)
        self.changed()

    def _stands(self, kind: AlarmKind) -> bool:
        return kind in self._shown and self._shown[kind].cleared_ns is None
