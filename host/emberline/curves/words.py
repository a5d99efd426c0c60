"""A person's word about an event: where it was instead, that there was one, or that there was none."""

from collections.abc import Sequence
from dataclasses import dataclass

from emberline.curves.events import Event, EventKind

LOADS = (EventKind.POT_ON, EventKind.POT_OFF, EventKind.REFUEL, EventKind.STEP)
"""Kinds of events that are changes of load."""
REACH_S = {
    EventKind.LIT: float("inf"),
    EventKind.FLAMEOUT: float("inf"),
    EventKind.BOIL: 300.0,
    EventKind.POT_ON: 60.0,
    EventKind.POT_OFF: 60.0,
    EventKind.REFUEL: 30.0,
    EventKind.STEP: 12.0,
}
"""Distance within which a found event of a kind is the one that a word is about: what happens once is so anywhere."""


@dataclass(frozen=True, slots=True)
class Word:
    """What a person says of one event.

    Attributes:
        kind: Its kind.
        found_s: When it was found, seconds from the trial's first sample; None where a person added it.
        event: The event as the person says it was; None where there was none.
    """

    kind: EventKind
    found_s: float | None
    event: Event | None

    def nearest(self, found: Sequence[Event]) -> int | None:
        """Return the index of the found event that the word is about; None where there is none (any more)."""
        about_s = self.event.t_s if self.found_s is None and self.event is not None else self.found_s
        if about_s is None or self.kind not in REACH_S:
            return None
        near = [
            (abs(event.t_s - about_s), index)
            for index, event in enumerate(found)
            if event.kind is self.kind and not event.by_person and abs(event.t_s - about_s) <= REACH_S[self.kind]
        ]
        return min(near)[1] if near else None


def with_words(found: Sequence[Event], words: Sequence[Word]) -> list[Event]:
    """Return found events with a person's in the place of those that they are about, in order of time."""
    left = list(found)
    for word in words:
        index = word.nearest(left)
        if index is not None:
            del left[index]
    said = [word.event for word in words if word.event is not None]
    return sorted((*left, *said), key=lambda event: event.t_s)
