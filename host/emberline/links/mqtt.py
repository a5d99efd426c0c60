"""A bench's device behind an MQTT broker: connected to, greeted, watched, and tried again for ever."""

import asyncio
import logging
from collections.abc import Callable, Mapping
from typing import Any

from emberline.bench.samples import SampleBatch
from emberline.config import BrokerAccess
from emberline.links.arrivals import Arrival, Greeting, Unnumbered
from emberline.links.errors import LinkError, LinkLostError
from emberline.links.frames_in import FramesIn
from emberline.links.link import LEAST_TICK_S, TICK_S, LinkClock, LinkState, Remember, Take, age_limits_s
from emberline.links.mqtt_io import BrokerIO
from emberline.links.mqtt_messages import Letter, Packet
from emberline.links.mqtt_refusals import BrokerRefusedError
from emberline.links.mqtt_topics import Topics
from emberline.links.pauses import Pauses
from emberline.links.senml_in import SenmlIn

LOG = logging.getLogger(__name__)

CAP_S = 2.0
"""Longest pause before the broker is tried again: readings must flow within 5 s of its return."""
REFUSED_CAP_S = 30.0
"""Longest pause where a person has to change something first."""
GREETING_LIMIT_S = 10.0
STREAMING_TICK_S = 1.5
"""How often a link is looked after when nothing comes of a device that streams: less often than frames come."""
SHORT_S = 5.0
"""A connection that lasts less, real seconds, may have been pushed out by another program of the same name; brokers
need not say so."""
MAX_SHORT, SHORT_WITHIN_S = 3, 60.0
"""So many of those within a minute mean that two programs push each other out, and that one has to stand back."""


class MqttLink:
    """One bench on one broker.

    Attributes:
        state: Where the link stands.
        connections: How many have been made.
    """

    def __init__(
        self,
        access: BrokerAccess,
        bench: str,
        clock: LinkClock,
        *,
        name: str,
        will: bytes = b"",
        reads: bool = True,
        names: Mapping[str, str] | None = None,
        standing: Mapping[str, Any] | None = None,
        remember: Remember | None = None,
        unread: Callable[[int, str, bytes, str], None] | None = None,
        pauses: Pauses | None = None,
    ) -> None:
        """Prepare a link; `run` does the work.

        Args:
            access: The way to the broker.
            bench: Id of the bench.
            clock: The daemon's clock.
            name: By which the broker remembers this program; no other program may use it.
            will: What the broker says on the bench's health topic when this program vanishes.
            reads: Whether readings come this way; else the link only publishes.
            names: Channel names within the bench, by names on the device, where the two differ.
            standing: What `remember` kept last, in an earlier run.
            remember: Called after each commit, before the device is told, with its boot and with what tells how far its
                samples are stored.
            unread: Given each message that cannot be read: arrival, topic, payload and the reason.
            pauses: Waits between attempts.
        """
        self.state = LinkState.REACHING
        self._trouble = ""
        self.topics = Topics(bench)
        self._access = access
        self._clock = clock
        self._name = name
        self._will = Letter(self.topics["health"], will, retain=True)
        self._reads = reads
        self._unread = unread
        self._frames = FramesIn(access.broker.device, names or {}, standing, self._note_unread)
        self._senml = SenmlIn(names or {}, self._frames.claims, self._note_unread)
        self._greeting: Greeting | None = None
        self._remember = remember
        self._pauses = pauses or Pauses(CAP_S)
        self._refusals = Pauses(REFUSED_CAP_S)
        self._io: BrokerIO | None = None
        self._last_news_ns = 0
        self.connections = 0
        self._reopened = False
        self._since_s = 0.0
        self._short: list[float] = []

    @property
    def greeting(self) -> Greeting | None:
        """The bench's last greeting: that of its device, with the channels that come as SenML."""
        return self._greeting

    @property
    def trouble(self) -> str:
        """What is wrong, in words; empty while all is well."""
        return self._trouble or self._senml.trouble

    @property
    def discarded(self) -> int:
        """Messages that arrived and could not be read."""
        return self._frames.discarded + self._senml.discarded + (0 if self._io is None else self._io.unreadable)

    @property
    def connected(self) -> bool:
        """Whether messages can be published now."""
        return self._io is not None

    def publish(
        self,
        name: str,
        payload: bytes,
        *,
        retain: bool = False,
        sure: bool = True,
        done: Callable[[], None] | None = None,
    ) -> bool:
        """Have a message of the bench published soon; return whether it was taken on. Never waits.

        Args:
            name: Last part of the topic.
            payload: Its content.
            retain: Whether the broker keeps it for newcomers.
            sure: Whether the broker has to confirm it.
            done: Called once it has.
        """
        return self._io is not None and self._io.send(Letter(self.topics[name], payload, retain, sure, done))

    async def run(self, take: Take) -> None:
        """Keep the link up until cancelled, and hand on what arrives.

        Args:
            take: Receives arrivals; while it waits, the broker gets no acknowledgement and soon sends nothing more.
        """
        try:
            while True:
                pauses = self._pauses
                try:
                    await self._connection(take)
                except BrokerRefusedError as error:
                    pauses = self._stand_back(str(error))
                except LinkLostError as error:
                    if self._pushed_out():
                        pauses = self._stand_back(f"{error}; {self._rival()}")
                    else:
                        self._log_trouble(str(error))
                except LinkError as error:
                    self._log_trouble(str(error))
                if pauses is self._pauses:
                    self.state = LinkState.WAITING
                await self._clock.sleep(pauses.next_s())
        finally:
            await self._hang_up()
            self.state = LinkState.CLOSED

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        """Acknowledge, to the device and to the broker, that all samples before those wanted are on disk."""
        self._frames.committed(boot, wanted)
        if self._remember is not None:
            self._remember(boot, self._frames.standing)
        self._send()

    async def _connection(self, take: Take) -> None:
        self.state = LinkState.REACHING
        topics = [self.topics.up, self.topics.online, self.topics.senml] if self._reads else []
        self._frames.forget_connection()
        self._io = await BrokerIO.open(self._access, self._name, topics, self._will, self._clock.now_ns)
        try:
            self._log_connected(self._io)
            if not self._reads:
                self.state = LinkState.STREAMING
            else:
                self.state = LinkState.ASKING
                self._last_news_ns = max(self._last_news_ns, self._clock.now_ns())
                await self._hand_on(self._frames.connected(self._clock.now_ns()), take)
            while True:
                # Readings that stream bring a look at their session with them.
                every_s = STREAMING_TICK_S if self.state is LinkState.STREAMING else TICK_S
                tick_s = max(LEAST_TICK_S, self._clock.real_s(every_s))
                self._send()
                packets = await self._io.received(tick_s)
                if self._reads:
                    await self._work(packets, take)
                    self._watch_age()
        finally:
            await self._hang_up()

    async def _work(self, packets: list[Packet], take: Take) -> None:
        arrivals: list[Arrival] = []
        for packet in packets:
            if packet.topic == self.topics.online:
                self._note_online(packet)
            elif packet.topic == self.topics.up:
                speed = 1.0 / self._clock.real_s(1.0)
                arrivals += self._frames.take(packet, waited_ns=int(packet.waited_s * speed * 1e9))
            elif packet.topic == self.topics.senml:
                arrivals += self._senml.take(packet)
            else:
                self._frames.claims.settle(packet.number)
        now_ns = self._clock.now_ns()
        arrivals += self._frames.tick(now_ns)
        self._send()
        await self._hand_on(arrivals, take)
        if self._frames.refusal:
            self.state = LinkState.REFUSED
            self._log_trouble(self._frames.refusal)

    async def _hand_on(self, arrivals: list[Arrival], take: Take) -> None:
        if any(isinstance(one, SampleBatch | Unnumbered) for one in arrivals):
            self._last_news_ns = self._clock.now_ns()
            self._reopened = False
        if self._senml.changed or any(isinstance(one, Greeting) for one in arrivals):
            self._greeting = self._senml.greeting(self._frames.greeting)
            arrivals = [one for one in arrivals if not isinstance(one, Greeting)]
            if self._greeting is not None:
                arrivals.insert(0, self._greeting)
        if arrivals:
            await take(arrivals)

    def _note_unread(self, packet: Packet, why: str) -> None:
        if self._unread is not None:
            self._unread(packet.arrived_ns, packet.topic, packet.payload, why)

    def _note_online(self, packet: Packet) -> None:
        self._frames.claims.settle(packet.number)
        if packet.payload == b"0" and not packet.retained:
            LOG.warning("the device has lost its connection to the broker")

    def _watch_age(self) -> None:
        if self.state is LinkState.REFUSED and self._frames.refusal:
            return
        age_s = (self._clock.now_ns() - self._last_news_ns) * 1e-9
        if not self._frames.streaming and self._greeting is None:
            self.state = LinkState.ASKING
            if age_s > GREETING_LIMIT_S + self._clock.slack_s:
                self._log_trouble(
                    f"no device answers on {self.topics.down}: is it switched on, and does it use this bench's name?"
                )
            return
        stale_s, gone_s = age_limits_s(self.greeting)
        if age_s > gone_s + self._clock.slack_s:
            words = f"no readings for {gone_s:.0f} s or more though the broker answers: is the device on?"
            if not self._reopened:
                # Once, in case it is this connection that has gone deaf.
                self._reopened = True
                raise LinkLostError(words)
            self._log_trouble(words)
        if age_s > stale_s + self._clock.slack_s:
            self.state = LinkState.STALE
        elif self.state is not LinkState.STREAMING:
            self.state = LinkState.STREAMING
            self._log_sound()

    def _send(self) -> None:
        io = self._io
        if io is None:
            return
        io.acknowledge(self._frames.claims.due())
        if self._reads and io.room:
            for packet in self._frames.packets_to_send():
                # What gets lost is asked for or acknowledged again, as on a line: the broker need not confirm it.
                io.send(Letter(self.topics.down, packet, sure=False))

    async def _hang_up(self) -> None:
        io, self._io = self._io, None
        if io is not None:
            io.acknowledge(self._frames.claims.due())
            await io.close()

    def _stand_back(self, why: str) -> Pauses:
        self.state = LinkState.TURNED_AWAY
        self._log_trouble(why)
        return self._refusals

    def _pushed_out(self) -> bool:
        """Return whether connections made have lasted too short too often."""
        now_s = asyncio.get_running_loop().time()
        since_s, self._since_s = self._since_s, 0.0
        if since_s and now_s - since_s < SHORT_S:
            self._short = [at for at in self._short if now_s - at < SHORT_WITHIN_S] + [now_s]
            return len(self._short) > MAX_SHORT
        if since_s:
            self._refusals.succeeded()
        return False

    def _rival(self) -> str:
        return (
            f"that happened {len(self._short)} times within a minute: is a second Emberline running on a copy of this "
            f"data folder? Both come to the broker as {self._name}: end one, and remove broker-name.txt from the copy"
        )

    def _log_connected(self, io: BrokerIO) -> None:
        LOG.info("connected to the broker at %s:%d", self._access.host, self._access.port)
        if self.connections and self._reads and not io.session_kept:
            LOG.warning(
                "the broker has forgotten what it kept for this program; what the device still has is asked for"
            )
        self.connections += 1
        self._since_s = asyncio.get_running_loop().time()
        if not self._reads:
            self._trouble = ""
            self._pauses.succeeded()

    def _log_sound(self) -> None:
        if self.greeting is not None:
            LOG.info("%s streams by way of %s", self.greeting.device, self._access.host)
        self._trouble = ""
        self._pauses.succeeded()

    def _log_trouble(self, words: str) -> None:
        level = logging.DEBUG if words == self._trouble else logging.WARNING
        LOG.log(level, "%s", words)
        self._trouble = words
