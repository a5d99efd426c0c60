"""The thread that owns a connection to a broker: messages in, stamped on arrival; messages and acknowledgements out.

One object is one connection; a lost one is replaced by a new object, so that no acknowledgement ever goes to a
connection that its message did not come from. Nothing is acknowledged here of its own accord.
"""

import asyncio
import contextlib
import logging
import select
import socket
import ssl
import threading
from collections import deque
from collections.abc import Callable, Sequence

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from emberline.config import BrokerAccess, ConfigError
from emberline.links.errors import LinkError, LinkLostError
from emberline.links.from_thread import EventLoopSide
from emberline.links.mqtt_messages import Letter, Packet
from emberline.links.mqtt_refusals import BrokerRefusedError, not_granted, refused, unreached

LOG = logging.getLogger(__name__)

KEEPALIVE_S = 5
"""A broker that says nothing for twice as long is given up."""
SESSION_S = 7 * 86_400
"""How long a broker keeps messages for a host that is away."""
MESSAGE_S = 7 * 86_400
"""Lifetime that devices give their messages (PROTOCOL.md); what is left of it on arrival tells how long one waited."""
RECEIVE_MAXIMUM = 1_000
"""Messages that a broker may have under way unacknowledged; minutes of a bench, and the brake when the disk is full."""
MAX_HELD = 4 * RECEIVE_MAXIMUM
"""Messages that may wait for the event loop; a broker that sends more breaks the agreement, and is not read."""
MAX_PACKET_BYTES = 128 * 1024
"""Larger messages a broker keeps to itself. Our own have 512 bytes at most; the rest is room for SenML."""
MAX_UNSENT = 200
"""Messages that may wait for the broker's acknowledgement; more are not taken on."""
OPEN_LIMIT_S = 10.0
CONNECT_LIMIT_S = 5.0
CLOSE_LIMIT_S = 1.0
STEP_S = 0.25
PARTING_S = 0.5


class _Encrypted(ssl.SSLSocket):
    """Closes itself where the two sides do not come to terms; paho forgets such a socket."""

    def do_handshake(self, block: bool = False) -> None:
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


class BrokerIO:
    """One connection.

    Attributes:
        session_kept: Whether the broker remembered this program.
        unreadable: Messages with a topic that is no text.
    """

    def __init__(
        self, access: BrokerAccess, name: str, topics: Sequence[str], will: Letter | None, now_ns: Callable[[], int]
    ) -> None:
        """Use `open`."""
        self.session_kept = False
        self.unreadable = 0
        self._access = access
        self._name = name
        self._topics = list(topics)
        self._will = will
        self._now_ns = now_ns
        self._loop_side = EventLoopSide()
        self._news = asyncio.Event()
        self._ended = asyncio.Event()
        self._lock = threading.Lock()
        self._received: list[Packet] = []
        self._orders: deque[Letter | int] = deque()
        self._unconfirmed: dict[int, Letter] = {}
        self._in_hand = 0
        self._closing = False
        self._ready = False
        self._failure: LinkError | None = None
        self._bell, self._ear = socket.socketpair()
        self._bell.setblocking(False)
        self._ear.setblocking(False)
        # A daemon thread: a connection that hangs must not keep the program from ending.
        self._thread = threading.Thread(target=self._work, name=f"mqtt {name}", daemon=True)

    @classmethod
    async def open(
        cls,
        access: BrokerAccess,
        name: str,
        topics: Sequence[str],
        will: Letter | None,
        now_ns: Callable[[], int],
        limit_s: float = OPEN_LIMIT_S,
    ) -> "BrokerIO":
        """Connect, and subscribe to topics.

        Args:
            access: The way to the broker.
            name: By which the broker remembers this program and what it has not acknowledged.
            topics: To subscribe to; every subscription must be granted with acknowledgements.
            will: What the broker says when this program vanishes; None for nothing.
            now_ns: Clock that stamps what arrives.
            limit_s: Longest wait, real seconds.

        Raises:
            BrokerRefusedError: The broker does not let this program in, or not to these topics.
            LinkError: It cannot be reached, or not within the limit.
        """
        link = cls(access, name, topics, will, now_ns)
        link._thread.start()
        try:
            async with asyncio.timeout(limit_s):
                await link._loop_side.opened
        except TimeoutError as exc:
            await link.close()
            raise LinkError(f"{link._where} did not answer within {limit_s:.0f} s: is a broker there?") from exc
        except BaseException:
            await link.close()
            raise
        return link

    async def received(self, limit_s: float) -> list[Packet]:
        """Return what has arrived; nothing if nothing came within the limit.

        Raises:
            LinkLostError: The connection broke; what had arrived before was returned already.
        """
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(limit_s):
                await self._news.wait()
        self._news.clear()
        with self._lock:
            packets, self._received = self._received, []
        if self._failure is not None:
            if not packets:
                raise self._failure
            self._news.set()
        self._ring()
        return packets

    @property
    def room(self) -> int:
        """How many messages can still be taken on."""
        with self._lock:
            return max(0, MAX_UNSENT - len(self._unconfirmed) - len(self._orders) - self._in_hand)

    def send(self, letter: Letter) -> bool:
        """Have a message sent soon; return whether it was taken on. Never waits."""
        if not self.room:
            return False
        self._orders.append(letter)
        self._ring()
        return True

    def acknowledge(self, numbers: Sequence[int]) -> None:
        """Tell the broker that messages are stored."""
        self._orders.extend(numbers)
        if numbers:
            self._ring()

    async def close(self, limit_s: float = CLOSE_LIMIT_S) -> bool:
        """Say good-bye and close; after the limit (real seconds) give the thread up. Return whether it closed."""
        self._closing = True
        self._ring()
        try:
            async with asyncio.timeout(limit_s):
                await self._ended.wait()
        except TimeoutError:
            LOG.warning("the connection to %s did not close within %.0f s and was given up", self._where, limit_s)
            return False
        self._thread.join()
        return True

    @property
    def _where(self) -> str:
        return f"{self._access.host}:{self._access.port}"

    def _ring(self) -> None:
        with contextlib.suppress(OSError):  # full, which wakes as well, or closed
            self._bell.send(b"\0")

    # The thread

    def _work(self) -> None:
        client = None
        try:
            client = self._connected()
            while not self._closing and self._failure is None:
                self._step(client, STEP_S)
            if self._failure is None:
                self._part(client)
        except LinkError as error:
            self._fail(error)
        except Exception as error:  # whatever a hostile broker brings about must end in a new connection
            LOG.debug("the connection to %s failed", self._where, exc_info=True)
            self._fail(LinkLostError(f"the connection to {self._where} broke: {error}"))
        finally:
            self._let_go(client)
            self._loop_side.tell(self._news.set)
            self._loop_side.tell(self._ended.set)

    def _connected(self) -> paho.Client:
        client = paho.Client(
            CallbackAPIVersion.VERSION2, self._name, protocol=MQTTProtocolVersion.MQTTv5, manual_ack=True
        )
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        client.on_publish = self._on_publish
        client.connect_timeout = CONNECT_LIMIT_S
        client.max_inflight_messages_set(0)
        if self._will is not None:
            client.will_set(self._will.topic, self._will.payload, qos=1, retain=self._will.retain)
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = SESSION_S
        properties.ReceiveMaximum = RECEIVE_MAXIMUM
        properties.MaximumPacketSize = MAX_PACKET_BYTES
        try:
            client.username_pw_set(self._access.user(), self._access.password())
            context = self._access.tls_context()
            if context is not None:
                context.sslsocket_class = _Encrypted
                client.tls_set_context(context)
            client.connect(self._access.host, self._access.port, KEEPALIVE_S, clean_start=False, properties=properties)
        except ConfigError as error:
            raise BrokerRefusedError(str(error)) from error
        except (OSError, ValueError) as error:
            raise unreached(self._where, self._access.host, error) from error
        return client

    def _step(self, client: paho.Client, limit_s: float) -> None:
        self._obey(client)
        peer = client.socket()
        if peer is None:
            self._fail(LinkLostError(f"the connection to {self._where} broke"))
            return
        with self._lock:
            reading = len(self._received) < MAX_HELD
        if not reading and not self._ready:
            # The grant comes behind what the broker kept for this program: that has to be taken away first.
            self._be_ready()
        pending = reading and isinstance(peer, ssl.SSLSocket) and peer.pending() > 0
        readable, _, _ = select.select(
            [self._ear, peer] if reading else [self._ear],
            [peer] if client.want_write() else [],
            [],
            0.0 if pending else limit_s,
        )
        if self._ear in readable:
            with contextlib.suppress(BlockingIOError):
                self._ear.recv(4096)
        if pending or peer in readable:
            client.loop_read()
        if client.socket() is not None and client.want_write():
            client.loop_write()
        if client.socket() is not None:
            client.loop_misc()

    def _obey(self, client: paho.Client) -> None:
        while self._orders and (self._ready or self._closing):
            with self._lock:
                order, self._in_hand = self._orders.popleft(), 1
            if isinstance(order, int):
                client.ack(order, 1)
                self._in_hand = 0
                continue
            sent = client.publish(order.topic, order.payload, qos=1 if order.sure else 0, retain=order.retain)
            with self._lock:
                self._in_hand = 0
                if order.sure:
                    self._unconfirmed[sent.mid] = order

    def _part(self, client: paho.Client) -> None:
        """Send what is left, the last acknowledgements first of all, and then the good-bye."""
        self._obey(client)
        steps = int(PARTING_S / 0.05)
        for _ in range(steps):
            if client.socket() is None or not (client.want_write() or self._unconfirmed):
                break
            self._step(client, 0.05)
        client.disconnect()
        for _ in range(steps):
            if client.socket() is None or not client.want_write():
                break
            self._step(client, 0.05)

    def _let_go(self, client: paho.Client | None) -> None:
        peer = None if client is None else client.socket()
        if peer is not None:
            with contextlib.suppress(OSError):
                peer.close()
        self._bell.close()
        self._ear.close()

    # What the broker says, in the thread

    def _on_connect(
        self, client: paho.Client, _data: object, flags: paho.ConnectFlags, reason: ReasonCode, _props: object
    ) -> None:
        if reason.is_failure:
            self._fail(refused(self._where, self._access.user(), reason))
            return
        self.session_kept = flags.session_present
        if self._topics:
            client.subscribe([(topic, SubscribeOptions(qos=1)) for topic in self._topics])
        else:
            self._be_ready()

    def _on_subscribe(
        self, _client: paho.Client, _data: object, _mid: int, reasons: list[ReasonCode], _props: object
    ) -> None:
        for topic, reason in zip(self._topics, reasons, strict=False):
            if reason.value != 1:
                self._fail(not_granted(self._where, topic, reason))
                return
        self._be_ready()

    def _be_ready(self) -> None:
        self._ready = True
        self._loop_side.tell_opened()

    def _on_disconnect(
        self, _client: paho.Client, _data: object, flags: paho.DisconnectFlags, reason: ReasonCode, _props: object
    ) -> None:
        if self._closing:
            return
        if not self._ready:
            self._fail(
                LinkLostError(
                    f"{self._where} hung up before it answered: does it speak MQTT 5? does it want TLS (tls = true)?"
                )
            )
        else:
            # Without a word from the broker, paho gives a reason that says nothing.
            why = f" ({reason})" if flags.is_disconnect_packet_from_server else ""
            self._fail(LinkLostError(f"the connection to the broker at {self._where} broke{why}"))

    def _on_message(self, client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        now_ns = self._now_ns()
        properties = message.properties
        left_s = getattr(properties, "MessageExpiryInterval", None)
        number = message.mid if message.qos else 0
        try:
            topic = message.topic
        except UnicodeDecodeError:
            self.unreadable += 1
            if number:
                client.ack(number, 1)
            return
        packet = Packet(
            topic=topic,
            payload=bytes(message.payload),
            arrived_ns=now_ns,
            # Whole seconds are left, so up to one of those gone by may not have gone by yet.
            waited_s=max(0.0, MESSAGE_S - left_s - 1.0) if isinstance(left_s, int) else 0.0,
            again=message.dup,
            retained=message.retain,
            content=str(getattr(properties, "ContentType", "")),
            number=number,
        )
        with self._lock:
            self._received.append(packet)
        self._loop_side.tell(self._news.set)

    def _on_publish(self, _client: paho.Client, _data: object, number: int, reason: ReasonCode, _props: object) -> None:
        letter = self._unconfirmed.pop(number, None)
        if letter is None:
            return
        if reason.is_failure:
            LOG.warning(
                "%s does not take %s (%s): permit it in the broker's access list",
                self._where,
                letter.topic,
                reason,
            )
        if letter.done is not None:
            self._loop_side.tell(letter.done)

    def _fail(self, error: LinkError) -> None:
        if self._failure is None:
            self._failure = error
        self._loop_side.tell_opened(self._failure)
        self._loop_side.tell(self._news.set)
