"""What a live run has said: announcements, revisions and retractions."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from emberline.curves.events import Event, EventKind, Retraction

SAME_EVENT_S = 60.0
"""Distance up to which a revised event is still the one that was announced."""
SAME_LOAD_S = 12.0
"""The same for changes of load; twice its standard uncertainty where that is more, as beside a gap."""
SAME_WITHIN_S = {EventKind.LIT: float("inf"), EventKind.FLAMEOUT: 180.0}
"""The same for what happens once, or dies slowly."""
REVISED_G = 1.0
"""Change of a load's size that is worth saying."""
REVISED_S = 5.0
"""Change of an event's time that is worth saying."""


@dataclass(slots=True)
class Tracked:
    """What a live run said.

    Attributes:
        announced: Events in the order of their announcement, with `announced_t_s`; revised ones in their last form.
        retracted: Announcements that were taken back.
    """

    announced: list[Event] = field(default_factory=list)
    retracted: list[Retraction] = field(default_factory=list)


def same_event(event: Event, others: Sequence[Event], taken: set[int]) -> int | None:
    """Return the index of the event among others that is this one in an earlier form, or None."""
    reach = SAME_WITHIN_S.get(event.kind, SAME_EVENT_S if event.size_g is None else max(SAME_LOAD_S, 2.0 * event.u_s))
    found = [
        (abs(other.t_s - event.t_s), index)
        for index, other in enumerate(others)
        if other.kind is event.kind and index not in taken and abs(other.t_s - event.t_s) <= reach
    ]
    return min(found)[1] if found else None


class Sayings:
    """Keeps what was said, and what is to be said now.

    Attributes:
        tracked: Everything said so far.
    """

    def __init__(self) -> None:
        """Begin in silence."""
        self.tracked = Tracked()
        self._last_said: list[Event] = []
        self._now: list[Event | Retraction] = []

    def of_kind(self, kind: EventKind) -> list[Event]:
        """Return what stands announced of a kind."""
        return [event for event in self.tracked.announced if event.kind is kind]

    def newest(self, kind: EventKind) -> Event | None:
        """Return the last announced event of a kind that stands, or None."""
        return next((event for event in reversed(self.tracked.announced) if event.kind is kind), None)

    def announce(self, event: Event, now: int) -> None:
        """Announce an event."""
        event = event.announced(float(now))
        self.tracked.announced.append(event)
        self._last_said.append(event)
        self._now.append(event)

    def revise(self, index: int, event: Event, now: int) -> None:
        """Put an announced event into a better form; say so where it differs from what was said last."""
        announced = self.tracked.announced
        event = replace(event, announced_t_s=announced[index].announced_t_s, revised_t_s=announced[index].revised_t_s)
        if _differs(event, self._last_said[index]):
            event = replace(event, revised_t_s=float(now))
            self._last_said[index] = event
            self._now.append(event)
        announced[index] = event

    def retract(self, index: int, why: str, now: int) -> None:
        """Take an announcement back."""
        event = self.tracked.announced.pop(index)
        del self._last_said[index]
        retraction = Retraction(event.kind, float(event.announced_t_s or 0.0), float(now), why)
        self.tracked.retracted.append(retraction)
        self._now.append(retraction)

    def heard(self) -> list[Event | Retraction]:
        """Return what is to be said now, once."""
        heard, self._now = self._now, []
        return heard


def _differs(event: Event, said: Event) -> bool:
    """Tell whether a person would want to hear of a change."""
    if event.size_g is not None and said.size_g is not None:
        moved_g = abs(float(event.size_g.nominal_value) - float(said.size_g.nominal_value))
        if moved_g > max(REVISED_G, 3.0 * float(said.size_g.std_dev)):
            return True
    return event.confirmed is not said.confirmed or abs(event.t_s - said.t_s) > max(REVISED_S, 2.0 * said.u_s)
