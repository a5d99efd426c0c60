"""A trial that runs, as its keeper holds it: what was announced of it, what a person changed, and what viewers know."""

from collections.abc import Sequence
from dataclasses import dataclass

from emberline.bench.bench_file import parse_bench
from emberline.bench.plan import parse_plan
from emberline.curves.events import Event, EventKind, Phase, Retraction, last
from emberline.store.records import Trial
from emberline.trials.corrections import Log, with_corrections

Saying = Event | Retraction
"""What viewers are told."""
FIRE = (EventKind.LIT, EventKind.FLAMEOUT)
"""The events that part the phases of a burn while it runs."""


@dataclass
class OpenTrial:
    """An open trial.

    Attributes:
        trial: As the store keeps it.
        label: Its label.
        notes: Remarks that were made while it runs.
        known: What names the sayings that were dealt with.
        announced: What the live run announces, in its last form.
        retracted: What it took back.
        log: What a person changed.
    """

    trial: Trial
    label: str | None
    notes: list[Event]
    known: set[tuple[EventKind, float | None, float | None]]
    announced: tuple[Event, ...] = ()
    retracted: tuple[Retraction, ...] = ()
    log: Log = ()

    @classmethod
    def of(cls, trial: Trial, saved: Sequence[Event], retracted: Sequence[Retraction], log: Log) -> "OpenTrial":
        """Take up a trial with what was saved of it."""
        notes = [event for event in saved if event.kind is EventKind.NOTE]
        announced = tuple(event for event in saved if event.kind is not EventKind.NOTE)
        known = {key(one) for one in saved} | {key(one) for one in retracted}
        label = trial.label or (parse_plan(trial.plan_text).label if trial.plan_text else None)
        return cls(trial, label, notes, known, announced, tuple(retracted), log)

    def shown(self) -> list[Event]:
        """Return the events as they are shown: what was announced, and a person's in its place."""
        return with_corrections(self.announced, self.log, self.trial.start_ns)

    def phase(self, found: Phase) -> Phase:
        """Return the phase: the one that the live run found, or that which a person's words about the fire leave."""
        shown = [event for event in self.shown() if event.kind in FIRE]
        announced = [event for event in self.announced if event.kind in FIRE]
        if shown == announced:
            return found
        kinds = {event.kind for event in shown}
        if EventKind.FLAMEOUT in kinds:
            return Phase.CHAR
        # A record that began mid-burn has a fire of which no event tells.
        unlit = found is Phase.WAITING or any(event.kind is EventKind.LIT for event in announced)
        return Phase.WAITING if unlit and EventKind.LIT not in kinds else Phase.FLAMING

    def end_ns(self, found_ns: int | None, now_s: float) -> int | None:
        """Return when the trial has ended by itself, UTC nanoseconds; None while it goes on.

        A flameout that a person took back ends nothing, and one that only a person saw does what a found one does.

        Args:
            found_ns: When it has ended by what the live run found.
            now_s: Up to where the live run has looked, seconds from the trial's first sample.
        """
        shown, announced = last(tuple(self.shown()), EventKind.FLAMEOUT), last(self.announced, EventKind.FLAMEOUT)
        if (shown is None) == (announced is None):
            return found_ns
        char_s = parse_bench(self.trial.bench_text).trial.end_after_flameout_s
        if shown is None:
            taken_back = announced is not None and found_ns == self._after(announced, char_s)
            return None if taken_back else found_ns
        return self._after(shown, char_s) if found_ns is None and now_s >= shown.t_s + char_s else found_ns

    def _after(self, out: Event, char_s: float) -> int:
        return self.trial.start_ns + int((out.t_s + char_s) * 1e9)

    def told(self) -> list[Saying]:
        """Return all that viewers are told of it, in the order of its moments."""
        return sorted([*self.notes, *self.shown(), *self.retracted], key=_moment)

    def unknown(self, said: Sequence[Saying]) -> list[Saying]:
        """Return what was not dealt with yet."""
        return [one for one in said if key(one) not in self.known]

    def to_be_told(self, said: Sequence[Saying]) -> list[Saying]:
        """Return what viewers are told of some sayings: what is found in the place of a person's event is not."""
        shown = {key(event) for event in self.shown()}
        return [one for one in said if isinstance(one, Retraction) or one.kind is EventKind.NOTE or key(one) in shown]

    def correct(self, trial: Trial, log: Log, why: str, now_s: float) -> list[Saying]:
        """Take up what a person has just changed, and return what viewers are told of it.

        Args:
            trial: The trial as it is now.
            log: Its corrections as they are now.
            why: Why an event that was shown is not any more.
            now_s: The moment, seconds from the trial's first sample.
        """
        before = self.shown()
        if trial.plan_text != self.trial.plan_text:
            self.label = parse_plan(trial.plan_text).label
        self.trial, self.log = trial, log
        after = self.shown()
        gone = [
            Retraction(event.kind, event.announced_t_s or event.t_s, now_s, why)
            for event in before
            if event not in after
        ]
        return [*gone, *(event for event in after if event not in before)]


def key(said: Saying) -> tuple[EventKind, float | None, float | None]:
    """Return what names a saying: its kind and the moments at which it was announced, and revised or taken back."""
    return said.kind, said.announced_t_s, said.retracted_t_s if isinstance(said, Retraction) else said.revised_t_s


def how(said: Saying) -> str:
    """Say how an event is told this time; empty for its announcement."""
    if isinstance(said, Retraction):
        return " is taken back"
    return " is revised" if said.revised_t_s is not None else ""


def _moment(said: Saying) -> float:
    """Return when something was said."""
    return said.retracted_t_s if isinstance(said, Retraction) else said.announced_t_s or said.t_s
