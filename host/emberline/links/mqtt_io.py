"""A connection to a broker: messages in, stamped on arrival; messages and acknowledgements out.

A thread makes it, since that may take long; the event loop moves it on. One object is one connection; a lost one is
replaced by a new object, so that no acknowledgement ever goes to a connection that its message did not come from.
Nothing is acknowledged here of its own accord.
"""

import asyncio
import contextlib
import logging
import socket
import ssl
import threading
from collections import deque
from collections.abc import Callable, Sequence

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from emberline.config import BrokerAccess
from emberline.links.errors import LinkError, LinkLostError
from emberline.links.from_thread import EventLoopSide
from emberline.links.mqtt_connect import RECEIVE_MAXIMUM, connect
from emberline.links.mqtt_messages import Letter, Packet
from emberline.links.mqtt_refusals import not_granted, refused

LOG = logging.getLogger(__name__)

MESSAGE_S = 7 * 86_400
"""Lifetime that devices give their messages (PROTOCOL.md); what is left of it on arrival tells how long one waited."""
MAX_HELD = 4 * RECEIVE_MAXIMUM
"""Messages that may wait for the event loop; a broker that sends more breaks the agreement, and is not read."""
AT_ONCE = 64
"""Messages that are read before anything else has its turn."""
MAX_UNSENT = 200
"""Messages that may wait for the broker's acknowledgement; more are not taken on."""
OPEN_LIMIT_S = 10.0
CLOSE_LIMIT_S, LOOK_S, PARTING_S = 1.0, 1.0, 0.5


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
        self._loop = asyncio.get_running_loop()
        self._loop_side = EventLoopSide()
        self._news = asyncio.Event()
        self._tried = asyncio.Event()
        self._moved = asyncio.Event()
        self._client: paho.Client | None = None
        self._received: list[Packet] = []
        self._heard = 0
        self._reading = self._writing = False
        self._orders: deque[Letter | int] = deque()
        self._unconfirmed: dict[int, Letter] = {}
        self._closing = False
        self._ready = False
        self._failure: LinkError | None = None
        self._timer: asyncio.TimerHandle | None = None

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
        # A daemon thread: an attempt that hangs must not keep the program from ending.
        threading.Thread(target=link._connect, name=f"mqtt {name}", daemon=True).start()
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
        limit = self._loop.call_later(limit_s, self._news.set)
        try:
            await self._news.wait()
        finally:
            limit.cancel()
        self._news.clear()
        packets, self._received = self._received, []
        if self._failure is not None:
            if not packets:
                raise self._failure
            self._news.set()
        elif not self._reading:
            self._read_on()
        return packets

    @property
    def room(self) -> int:
        """How many messages can still be taken on."""
        return max(0, MAX_UNSENT - len(self._unconfirmed) - len(self._orders))

    def send(self, letter: Letter) -> bool:
        """Have a message sent soon; return whether it was taken on. Never waits."""
        if not self.room:
            return False
        self._orders.append(letter)
        self._obey()
        return True

    def acknowledge(self, numbers: Sequence[int]) -> None:
        """Tell the broker that messages are stored."""
        self._orders.extend(numbers)
        self._obey()

    async def close(self) -> None:
        """Send what is left, say good-bye and close; an answer that does not come is not waited for longer than 1 s."""
        self._closing = True
        if self._client is not None and self._failure is None:
            await self._part(self._client)
        self._let_go()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(CLOSE_LIMIT_S):
                await self._tried.wait()
        if not self._tried.is_set():
            LOG.warning("an attempt to reach %s did not end within %.0f s; it is given up", self._where, CLOSE_LIMIT_S)

    @property
    def _where(self) -> str:
        return f"{self._access.host}:{self._access.port}"

    # The thread, which waits for names to be found, for the broker to answer and for encryption to be agreed

    def _connect(self) -> None:
        try:
            client = paho.Client(
                CallbackAPIVersion.VERSION2, self._name, protocol=MQTTProtocolVersion.MQTTv5, manual_ack=True
            )
            client.on_connect = self._on_connect
            client.on_subscribe = self._on_subscribe
            client.on_disconnect = self._on_disconnect
            client.on_message = self._on_message
            connect(client, self._access, self._will)
        except LinkError as error:
            self._loop_side.tell(self._fail, error)
        except Exception as error:  # whatever a hostile broker brings about must end in a new connection
            LOG.debug("the connection to %s failed", self._where, exc_info=True)
            self._loop_side.tell(self._fail, LinkLostError(f"the connection to {self._where} broke: {error}"))
        else:
            self._loop_side.tell(self._take_over, client)
        finally:
            self._loop_side.tell(self._tried.set)

    # The event loop, which moves the connection on

    def _take_over(self, client: paho.Client) -> None:
        """Go on with a client that is connected: the library's callbacks tell when its socket is to be written."""
        self._client = client
        if self._closing:
            self._let_go()
            return
        client.on_socket_close = lambda _client, _data, peer: self._forget(peer)
        client.on_socket_register_write = lambda *_: self._write_soon()
        self._read_on()
        self._guarded(self._write)
        self._guarded(self._look)

    def _guarded(self, work: Callable[[paho.Client], object]) -> None:
        """Do some work for a connection that stands; what fails ends in a new connection."""
        client = self._client
        if client is None or self._failure is not None:
            return
        try:
            work(client)
        except Exception as error:  # noqa: BLE001 whatever a hostile broker brings about
            self._fail(LinkLostError(f"the connection to {self._where} broke: {error}"))
        if client.socket() is None and not self._closing:
            self._fail(LinkLostError(f"the connection to {self._where} broke"))
        self._moved.set()

    def _read_on(self) -> None:
        peer = None if self._client is None else self._client.socket()
        if peer is not None and not self._reading:
            self._reading = True
            # By its number: the standard library describes an unknown socket at length before it takes it up.
            self._loop.add_reader(peer.fileno(), self._guarded, self._read)
            # What an encrypted connection has taken in already shows on no socket.
            self._loop.call_soon(self._guarded, self._read)

    def _read(self, client: paho.Client) -> None:
        """Take in what has come, some of it at a time and as far as there is room for it."""
        heard = -1
        for _ in range(AT_ONCE):
            peer = client.socket()
            if peer is None or not self._reading:
                return
            if self._heard == heard and not (isinstance(peer, ssl.SSLSocket) and peer.pending()):
                return
            heard = self._heard
            client.loop_read()
            if client.socket() is not None and len(self._received) >= MAX_HELD:
                self._loop.remove_reader(peer)
                self._reading = False
                if not self._ready:
                    # The grant comes behind what the broker kept for this program: that has to be taken away first.
                    self._be_ready()
        self._loop.call_soon(self._guarded, self._read)

    def _write_soon(self) -> None:
        self._loop.call_soon(self._guarded, self._write)

    def _write(self, client: paho.Client) -> None:
        """Send what waits, the rest of it when the socket takes more."""
        if client.want_write():
            client.loop_write()
        if (peer := client.socket()) is None:
            return
        if client.want_write():
            self._writing = True
            self._loop.add_writer(peer, self._guarded, self._write)
        elif self._writing:
            self._writing = False
            self._loop.remove_writer(peer)

    def _look(self, client: paho.Client) -> None:
        """Keep the connection alive, and find out whether it is."""
        client.loop_misc()
        self._timer = self._loop.call_later(LOOK_S, self._guarded, self._look)

    def _obey(self) -> None:
        client = self._client
        while client is not None and self._orders and (self._ready or self._closing):
            order = self._orders.popleft()
            if isinstance(order, int):
                client.ack(order, 1)
                continue
            # Else it would be called for each message that nobody confirms, with a reason made up for it.
            client.on_publish = self._on_publish if order.sure or self._unconfirmed else None
            sent = client.publish(order.topic, order.payload, qos=1 if order.sure else 0, retain=order.retain)
            if order.sure:
                self._unconfirmed[sent.mid] = order

    async def _part(self, client: paho.Client) -> None:
        """Send what is left, the last acknowledgements first of all, and then the good-bye."""
        self._obey()
        await self._while(lambda: client.want_write() or bool(self._unconfirmed))
        client.disconnect()
        await self._while(client.want_write)

    async def _while(self, goes_on: Callable[[], bool]) -> None:
        """Wait while the connection stands and something goes on, but not for long."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(PARTING_S):
                while self._client is not None and self._client.socket() is not None and goes_on():
                    self._moved.clear()
                    await self._moved.wait()

    def _let_go(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
        client, self._client = self._client, None
        peer = None if client is None else client.socket()
        if peer is not None:
            self._forget(peer)
            with contextlib.suppress(OSError):
                peer.close()

    def _forget(self, peer: object) -> None:
        """Have the event loop watch a socket no longer that is about to be closed."""
        self._reading = self._writing = False
        if isinstance(peer, socket.socket) and peer.fileno() >= 0:
            self._loop.remove_reader(peer)
            self._loop.remove_writer(peer)

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
        self._obey()

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
        self._heard += 1
        left_s = getattr(message.properties, "MessageExpiryInterval", None)
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
            arrived_ns=self._now_ns(),
            # Whole seconds are left, so up to one of those gone by may not have gone by yet.
            waited_s=max(0.0, MESSAGE_S - left_s - 1.0) if isinstance(left_s, int) else 0.0,
            again=message.dup,
            retained=message.retain,
            content=str(getattr(message.properties, "ContentType", "")),
            number=number,
        )
        self._received.append(packet)
        self._news.set()

    def _on_publish(self, _client: paho.Client, _data: object, number: int, reason: ReasonCode, _props: object) -> None:
        self._heard += 1
        letter = self._unconfirmed.pop(number, None)
        if letter is None:
            return
        if reason.is_failure:
            LOG.warning(
                "%s does not take %s (%s): permit it in the broker's access list", self._where, letter.topic, reason
            )
        if letter.done is not None:
            letter.done()

    def _fail(self, error: LinkError) -> None:
        if self._failure is None:
            self._failure = error
        self._loop_side.tell_opened(self._failure)
        self._news.set()
        self._let_go()
