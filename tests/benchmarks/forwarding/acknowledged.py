"""How long after readings pass the broker their acknowledgement does, which the daemon sends once they are on disk."""

import threading
import time
from collections import defaultdict
from types import TracebackType

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from broker_fixture import Broker
from emberline_wire import Ack, Samples, WireError, decode_body, unseal

CONNECT_LIMIT_S = 20.0


class Acknowledged:
    """Listens to what passes a broker from the benches and to them, and takes the time.

    Attributes:
        lags_s: For each bench, the time from each message of readings to the acknowledgement of its last one.
    """

    def __init__(self, broker: Broker) -> None:
        """Prepare; entering it listens."""
        self.lags_s: dict[str, list[float]] = defaultdict(list)
        self._broker = broker
        self._waiting: dict[str, list[tuple[float, int, int, int]]] = defaultdict(list)
        self._ready = threading.Event()
        self._client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        self._client.on_connect = lambda client, *_: client.subscribe(
            [("emberline/v1/+/up", 0), ("emberline/v1/+/down", 0)]
        )
        self._client.on_subscribe = lambda *_: self._ready.set()
        self._client.on_message = lambda _client, _data, message: self.heard(message.topic, bytes(message.payload))

    def __enter__(self) -> "Acknowledged":
        """Listen."""
        self._client.connect(self._broker.host, self._broker.port)
        self._client.loop_start()
        assert self._ready.wait(CONNECT_LIMIT_S), "the broker does not grant its topics"
        return self

    def __exit__(self, _: type[BaseException] | None, __: BaseException | None, ___: TracebackType | None) -> None:
        """Listen no more."""
        self._client.disconnect()
        self._client.loop_stop()

    def heard(self, topic: str, payload: bytes, now_s: float | None = None) -> None:
        """Take note of one message."""
        now_s = time.monotonic() if now_s is None else now_s
        bench, way = topic.split("/")[2:4]
        try:
            messages = decode_body(unseal(payload))
        except WireError:
            return
        for message in messages:
            if way == "up" and isinstance(message, Samples):
                self._waiting[bench].append((now_s, message.boot, message.stream, message.next_seq))
            elif way == "down" and isinstance(message, Ack):
                self._confirmed(bench, message, now_s)

    def _confirmed(self, bench: str, ack: Ack, now_s: float) -> None:
        still = []
        for since_s, boot, stream, end in self._waiting[bench]:
            if boot == ack.boot and ack.wanted.get(stream, 0) >= end:
                self.lags_s[bench].append(now_s - since_s)
            else:
                still.append((since_s, boot, stream, end))
        self._waiting[bench] = still


def quantile(values: list[float], share: float) -> float:
    """Return the value that so many of them do not exceed."""
    ranked = sorted(values)
    return ranked[min(int(share * len(ranked)), len(ranked) - 1)]
