"""Frames that come as messages of a broker: from packets to arrivals, and to what the broker may be told."""

import logging
from collections import deque
from collections.abc import Callable, Mapping
from typing import Any

from emberline.links.arrivals import Arrival, Greeting, Translator
from emberline.links.mqtt_claims import Claim, Claims, claim_of
from emberline.links.mqtt_messages import Packet, nobody
from emberline.links.standings import read_hello, read_standing, standing_document
from emberline_wire import Event, Greeted, LinkState, Message, MessageError, Rebooted, Refused, Session
from emberline_wire.errors import BadStateError

LOG = logging.getLogger(__name__)

MAX_PARKED = 500
"""Frames of a boot not greeted yet that wait for its hello; fewer than the broker has under way, so that it comes."""


class FramesIn:
    """The wire's session of one bench on a broker.

    It outlives a connection: boot and number name each sample, so nothing needs to be asked again after one.

    Attributes:
        claims: Messages that the broker has not been told of yet.
        greeting: The device's last greeting.
        refusal: Why the device is refused; empty if it is not.
    """

    def __init__(
        self,
        device: str | None,
        names: Mapping[str, str],
        standing: Mapping[str, Any] | None,
        unread: Callable[[Packet, str], None] = nobody,
    ) -> None:
        """Go on where an earlier run ended.

        Args:
            device: The only device to accept, or None.
            names: Channel names within the bench, by names on the device, where the two differ.
            standing: What `standing` returned last in an earlier run.
            unread: Given each message that cannot be read, with the reason.
        """
        self.claims = Claims()
        self.greeting: Greeting | None = None
        self.refusal = ""
        self._session = _session(device, standing)
        self._hello = read_hello(standing)
        self._translator = Translator(names)
        self._parked: deque[tuple[Packet, list[Message | MessageError], Claim, int]] = deque()
        self._foreign = 0
        self._unread = unread

    @property
    def streaming(self) -> bool:
        """Whether the device has said who it is."""
        return self._session.state is LinkState.STREAMING

    @property
    def discarded(self) -> int:
        """Messages that could not be read."""
        return self._session.frames.counters.discarded + self._session.counters.malformed + self._foreign

    def connected(self, now_ns: int) -> list[Arrival]:
        """Take note of the first connection: ask who is there, and believe meanwhile the device of the earlier run."""
        if self._session.state is not LinkState.DOWN:
            return []
        self._session.connected(now_ns)
        return [] if self._hello is None else self._arrivals(self._session.recall(self._hello, now_ns), now_ns)

    def forget_connection(self) -> None:
        """Drop what belongs to a connection that is gone: the broker gives it again."""
        self.claims.forget()
        self._parked.clear()

    def take(self, packet: Packet, waited_ns: int) -> list[Arrival]:
        """Take in a message from the device and return what came of it."""
        if packet.retained:
            # Kept by the broker for newcomers: no reading of now, whatever it holds.
            self._foreign += 1
            self.claims.settle(packet.number)
            return []
        discarded = self.discarded
        found = self._session.open_packet(packet.payload)
        claim = claim_of(found)
        events = self._session.take(found, packet.arrived_ns, waited_ns)
        arrivals = self._arrivals(events, packet.arrived_ns)
        if claim is None:
            self.claims.settle(packet.number)
        elif self._believes(claim):
            self._claim(packet, claim)
        else:
            self._park(packet, found, claim, waited_ns)
        if self.discarded > discarded:
            self._unread(packet, "not all of it is of this protocol")
        if any(isinstance(event, Greeted) for event in events):
            arrivals += self._unpark()
        return arrivals

    def tick(self, now_ns: int) -> list[Arrival]:
        """Do what is due."""
        return self._arrivals(self._session.tick(now_ns), now_ns)

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        """Acknowledge that samples are on disk."""
        streams = self._translator.streams()
        self._session.committed({streams[name]: seq for name, seq in wanted.items() if name in streams}, boot)
        self.claims.committed(boot, wanted)

    def standing(self) -> dict[str, Any] | None:
        """Return what the next run is to know of how far the device is stored; None before it is known."""
        standing = self._session.standing()
        return None if standing is None else standing_document(standing, self._session.hello)

    def packets_to_send(self) -> list[bytes]:
        """Return what is to be sent to the device."""
        return self._session.packets_to_send()

    def _believes(self, claim: Claim) -> bool:
        hello = self._session.hello
        return self.streaming and hello is not None and hello.boot == claim.boot

    def _claim(self, packet: Packet, claim: Claim) -> None:
        named = {self._translator.stored_name(stream): seq for stream, seq in claim.wanted.items()}
        wanted = {channel: seq for channel, seq in named.items() if channel is not None}
        self._foreign += len(wanted) < len(claim.wanted)
        self.claims.enter(packet.number, claim.boot, wanted)

    def _park(self, packet: Packet, found: list[Message | MessageError], claim: Claim, waited_ns: int) -> None:
        self._parked.append((packet, found, claim, waited_ns))
        while len(self._parked) > MAX_PARKED:
            old, *_ = self._parked.popleft()
            self.claims.settle(old.number)

    def _unpark(self) -> list[Arrival]:
        """Take in what waited for a hello; what is of another boot will not be claimed by anybody."""
        arrivals: list[Arrival] = []
        parked, self._parked = self._parked, deque()
        for packet, found, claim, waited_ns in parked:
            if self._believes(claim):
                events = self._session.take(found, packet.arrived_ns, waited_ns)
                arrivals += self._arrivals(events, packet.arrived_ns)
                self._claim(packet, claim)
            else:
                self.claims.settle(packet.number)
        return arrivals

    def _arrivals(self, events: list[Event], now_ns: int) -> list[Arrival]:
        for event in events:
            if isinstance(event, Rebooted):
                self.claims.end(event.old_boot)
            elif isinstance(event, Refused):
                self.refusal = event.why
            elif isinstance(event, Greeted):
                self.refusal = ""
        arrivals = self._translator.arrivals(events, now_ns)
        for one in arrivals:
            if isinstance(one, Greeting):
                self.greeting = one
        return arrivals


def _session(device: str | None, document: Mapping[str, Any] | None) -> Session:
    """Return a session that goes on where an earlier one ended, or a new one where that cannot be read."""
    try:
        return Session(device=device, standing=read_standing(document))
    except BadStateError:
        LOG.warning("what was kept of the device's clock is damaged: its samples are asked for from the oldest on")
        return Session(device=device)
