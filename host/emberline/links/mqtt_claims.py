"""Which messages a broker may be told of: those whose samples are all on disk."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from emberline_wire import Samples

KEPT_BOOTS = 16
"""Boots remembered after their end."""


@dataclass(frozen=True, slots=True)
class Claim:
    """What has to be on disk before a frame may be acknowledged.

    Attributes:
        boot: Boot id.
        wanted: For each stream of which it holds samples, the sequence number after the last of them.
    """

    boot: int
    wanted: Mapping[int, int]


def claim_of(found: Iterable[object]) -> Claim | None:
    """Return the claim of what a body holds; None where there are no samples in it.

    All are of one boot. What a sender mixes in of another is nobody's claim: it is sent again until it is acknowledged.
    """
    samples = [one for one in found if isinstance(one, Samples)]
    if not samples:
        return None
    boot = samples[0].boot
    wanted: dict[int, int] = {}
    for one in samples:
        if one.boot == boot:
            wanted[one.stream] = max(one.next_seq, wanted.get(one.stream, 0))
    return Claim(boot, wanted)


@dataclass
class Claims:
    """Messages of one connection that the broker has not been told of yet.

    Readings are committed in the order in which they came. So once something of a later boot is stored, nothing of an
    earlier one is on its way any more, and a frame of it that still waits brings nothing.
    """

    _open: dict[int, tuple[int, Mapping[str, int]]] = field(default_factory=dict)
    _stored: dict[tuple[int, str], int] = field(default_factory=dict)
    _ended: list[int] = field(default_factory=list)
    _due: list[int] = field(default_factory=list)
    _connection: int = 0

    def __len__(self) -> int:
        return len(self._open)

    def enter(self, number: int, boot: int, wanted: Mapping[str, int]) -> None:
        """Enter a frame: it is due once all samples before those wanted, by stored channel name, are stored."""
        if self._covers(boot, wanted):
            self.settle(number)
        elif number:
            self._open[number] = (boot, wanted)

    def settle(self, number: int) -> None:
        """Have a message acknowledged; does nothing for 0, which needs no acknowledgement."""
        self._open.pop(number, None)
        if number:
            self._due.append(number)

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        """Take note that all samples before those wanted, by stored channel name, are on disk or flagged lost."""
        over = [] if boot in self._ended else self._ended
        for channel, seq in wanted.items():
            self._stored[boot, channel] = max(seq, self._stored.get((boot, channel), 0))
        for number, (of, claimed) in list(self._open.items()):
            if of in over or (of == boot and self._covers(boot, claimed)):
                self.settle(number)

    def end(self, boot: int) -> None:
        """Take note that a boot is over."""
        self._ended = [*self._ended[-KEPT_BOOTS:], boot]
        self._stored = {key: seq for key, seq in self._stored.items() if key[0] in self._ended}

    def due(self) -> list[int]:
        """Return the messages to be acknowledged now, in the order in which they became due."""
        due, self._due = self._due, []
        return due

    def ticket(self, number: int) -> "Ticket":
        """Return what settles a message later on, but not on another connection, where its number means another."""
        return Ticket(self, number, self._connection)

    def is_of(self, connection: int) -> bool:
        """Return whether this is the connection that a ticket was made for."""
        return connection == self._connection

    def forget(self) -> None:
        """Drop what belongs to a connection that is gone: the broker gives it again."""
        self._connection += 1
        self._open.clear()
        self._due.clear()

    def _covers(self, boot: int, wanted: Mapping[str, int]) -> bool:
        return all(self._stored.get((boot, channel), 0) >= seq for channel, seq in wanted.items())


@dataclass(frozen=True, slots=True)
class Ticket:
    """Settles one message, once what came with it is on disk."""

    claims: Claims
    number: int
    connection: int

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        """Have the message acknowledged."""
        if self.claims.is_of(self.connection):
            self.claims.settle(self.number)
