"""The benches of a broker, heard of by the hellos that it keeps of their devices."""

from collections.abc import Awaitable, Callable, Sequence

from emberline.config import BrokerAccess
from emberline.links.errors import LinkError
from emberline.links.link import LinkClock
from emberline.links.mqtt_io import BrokerIO
from emberline.links.mqtt_messages import Packet
from emberline.links.mqtt_refusals import BrokerRefusedError
from emberline.links.mqtt_topics import HELLOS, bench_of_hello
from emberline.links.pauses import Pauses
from emberline_wire import Hello, WireError, decode_message, unseal

CAP_S, REFUSED_CAP_S = 15.0, 30.0
"""Longest pause before the broker is tried again; and where a person has to change something first."""
LOOK_S = 1.0


class HelloWatch:
    """Hears of benches.

    Attributes:
        discarded: Messages that were no hello.
    """

    def __init__(
        self,
        access: BrokerAccess,
        name: str,
        clock: LinkClock,
        trouble: Callable[[str], None],
        pauses: Pauses | None = None,
    ) -> None:
        """Prepare; `run` does the work.

        Args:
            access: The way to the broker.
            name: By which the broker remembers this program; no other connection may use it.
            clock: The daemon's clock.
            trouble: Told what is wrong, in words, and nothing once all is well.
            pauses: Waits between attempts.
        """
        self.discarded = 0
        self._access = access
        self._name = name
        self._clock = clock
        self._trouble = trouble
        self._pauses = pauses or Pauses(CAP_S)
        self._refusals = Pauses(REFUSED_CAP_S)

    async def run(self, heard: Callable[[Sequence[str]], Awaitable[None]]) -> None:
        """Listen until cancelled.

        Args:
            heard: Told the ids of benches whenever there are hellos of them, again and again.
        """
        while True:
            pauses = self._pauses
            try:
                await self._listen(heard)
            except BrokerRefusedError as error:
                pauses = self._refusals
                self._trouble(f"benches cannot be looked for: {error}")
            except LinkError as error:
                self._trouble(f"benches cannot be looked for: {error}")
            await self._clock.sleep(pauses.next_s())

    async def _listen(self, heard: Callable[[Sequence[str]], Awaitable[None]]) -> None:
        io = await BrokerIO.open(self._access, self._name, [HELLOS], None, self._clock.now_ns)
        self._trouble("")
        self._pauses.succeeded()
        self._refusals.succeeded()
        try:
            while True:
                packets = await io.received(LOOK_S)
                benches = [bench for packet in packets if (bench := _bench_of(packet)) is not None]
                # An empty message takes a kept one away.
                self.discarded += sum(bool(packet.payload) for packet in packets) - len(benches)
                if benches:
                    await heard(benches)
                io.acknowledge([packet.number for packet in packets if packet.number])
        finally:
            await io.close()


def _bench_of(packet: Packet) -> str | None:
    """Return the id of the bench whose device says hello; None for anything else."""
    try:
        message = decode_message(unseal(packet.payload))
    except WireError:
        return None
    return bench_of_hello(packet.topic) if isinstance(message, Hello) else None
