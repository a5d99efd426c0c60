"""What is spoken on a serial port: what a link needs of it, and frames as the one way that acknowledges."""

import logging
from collections.abc import Mapping
from typing import Any, Protocol

from emberline.bench.bench_file import SerialPort
from emberline.links.arrivals import Arrival, Greeting, Translator
from emberline.links.link import Remember
from emberline.links.standings import read_standing, standing_document
from emberline_wire import LinkState, Refused, Session
from emberline_wire.errors import BadStateError

LOG = logging.getLogger(__name__)


class Talk(Protocol):
    """Turns the bytes of a port into arrivals, across replugs."""

    @property
    def greeting(self) -> Greeting | None:
        """The device's last greeting."""

    @property
    def streaming(self) -> bool:
        """Whether the device is understood on this connection."""

    @property
    def refusal(self) -> str:
        """Why the device is refused since the bytes taken in last; empty if it is not."""

    @property
    def nobody(self) -> str:
        """What is wrong where nobody is understood."""

    @property
    def discarded(self) -> int:
        """What arrived and could not be read."""

    def connected(self, now_ns: int) -> None:
        """Note that the port is open."""

    def disconnected(self) -> None:
        """Note that the port is closed."""

    def take_in(self, pieces: list[tuple[bytes, int]], now_ns: int) -> list[Arrival]:
        """Take in bytes, each piece with the time of its arrival, and return what came of them."""

    def bytes_to_send(self) -> bytes:
        """Return what is to be sent, and regard it as sent."""

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        """Take note that all samples before those wanted, by stored channel name, are on disk."""


class FramesTalk:
    """Frames of the wire, with their session.

    Attributes:
        greeting: The device's last greeting.
        refusal: Why the device is refused since the bytes taken in last.
        nobody: What is wrong where no device is understood.
        session: The wire's session.
        remember: Called with how far samples are stored, before the device is told.
    """

    def __init__(
        self,
        wanted: SerialPort,
        names: Mapping[str, str],
        standing: Mapping[str, Any] | None,
        remember: Remember | None,
    ) -> None:
        """Go on where an earlier run ended; the arguments are those of `SerialLink`."""
        self.greeting: Greeting | None = None
        self.nobody = (
            f"nobody on the port said who they are at {wanted.baud} baud: does the board run? `emberline doctor` tries "
            "other speeds"
        )
        self.refusal = ""
        self.session = _session(wanted, standing)
        self.remember = remember
        self._translator = Translator(names)

    @property
    def streaming(self) -> bool:
        """Whether the device has said who it is."""
        return self.session.state is LinkState.STREAMING

    @property
    def discarded(self) -> int:
        """Frames that arrived damaged, and bytes between frames, counted together."""
        return self.session.frames.counters.discarded

    def connected(self, now_ns: int) -> None:
        """Ask the device who it is."""
        self.session.connected(now_ns)

    def disconnected(self) -> None:
        """Keep what is asked for on the next connection."""
        self.session.disconnected()

    def take_in(self, pieces: list[tuple[bytes, int]], now_ns: int) -> list[Arrival]:
        """Take in bytes, each piece with the time of its arrival, and do what is due."""
        events = [event for data, at_ns in pieces for event in self.session.receive(data, at_ns)]
        events += self.session.tick(now_ns)
        self.refusal = next((event.why for event in events if isinstance(event, Refused)), "")
        arrivals = self._translator.arrivals(events, now_ns)
        for one in arrivals:
            if isinstance(one, Greeting):
                self.greeting = one
        return arrivals

    def bytes_to_send(self) -> bytes:
        """Return what is to be sent, and regard it as sent."""
        return self.session.bytes_to_send()

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        """Acknowledge to the device that all samples before those wanted, by stored channel name, are on disk."""
        streams = self._translator.streams()
        self.session.committed({streams[name]: seq for name, seq in wanted.items() if name in streams}, boot)
        if self.remember is not None:
            self.remember(boot, self.standing)

    def standing(self) -> dict[str, Any] | None:
        """Return what the next run is to know of how far the device is stored; None before it is known."""
        standing = self.session.standing()
        return None if standing is None else standing_document(standing)


def _session(wanted: SerialPort, document: Mapping[str, Any] | None) -> Session:
    """Return a session that goes on where an earlier one ended, or a new one where that cannot be read."""
    try:
        return Session(device=wanted.device, standing=read_standing(document), baud=wanted.baud)
    except BadStateError:
        LOG.warning("what was kept of the device's clock is damaged: its samples are asked for from the oldest on")
        return Session(device=wanted.device, baud=wanted.baud)
