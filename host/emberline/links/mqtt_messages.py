"""Messages to and from a broker."""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Packet:
    """One message from the broker.

    Attributes:
        topic: Its topic.
        payload: Its content.
        arrived_ns: When it arrived, by the daemon's clock.
        waited_s: How long the broker is known to have held it, real seconds; never more than it did.
        again: Whether it may have been delivered before.
        retained: Whether it is an old one that the broker keeps for newcomers.
        content: Its content type, empty where none was given.
        number: By which it is acknowledged; 0 for one that needs no acknowledgement.
    """

    topic: str
    payload: bytes
    arrived_ns: int
    waited_s: float
    again: bool
    retained: bool
    content: str
    number: int


@dataclass(frozen=True, slots=True)
class Letter:
    """One message to the broker.

    Attributes:
        topic: Its topic.
        payload: Its content.
        retain: Whether the broker keeps it for newcomers.
        sure: Whether the broker has to confirm it.
        done: Called in the event loop once it has.
    """

    topic: str
    payload: bytes
    retain: bool = False
    sure: bool = True
    done: Callable[[], None] | None = None


def nobody(packet: Packet, why: str) -> None:
    """Care for no message that cannot be read."""
