"""How a broker is reached: account, encryption, and what is agreed on with it."""

import ssl

from paho.mqtt import client as paho
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from emberline.config import BrokerAccess, ConfigError
from emberline.links.mqtt_messages import Letter
from emberline.links.mqtt_refusals import BrokerRefusedError, unreached

KEEPALIVE_S = 5
"""A broker that says nothing for twice as long is given up."""
SESSION_S = 7 * 86_400
"""How long a broker keeps messages for a host that is away."""
RECEIVE_MAXIMUM = 1_000
"""Messages that a broker may have under way unacknowledged; minutes of a bench, and the brake when the disk is full."""
MAX_PACKET_BYTES = 128 * 1024
"""Larger messages a broker keeps to itself. Our own have 512 bytes at most; the rest is room for SenML."""
CONNECT_LIMIT_S = 5.0


class _Encrypted(ssl.SSLSocket):
    """Closes itself where the two sides do not come to terms; paho forgets such a socket."""

    def do_handshake(self, block: bool = False) -> None:
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


def connect(client: paho.Client, access: BrokerAccess, will: Letter | None) -> None:
    """Reach a broker and say hello; waits for names, for the other side and for encryption. The answer comes later.

    Args:
        client: Of the library, not connected yet.
        access: The way to the broker.
        will: What the broker says when this program vanishes; None for nothing.

    Raises:
        BrokerRefusedError: Something named for it cannot be read, or the broker's certificate does not hold.
        LinkError: The broker cannot be reached.
    """
    client.connect_timeout = CONNECT_LIMIT_S
    client.max_inflight_messages_set(0)
    if will is not None:
        client.will_set(will.topic, will.payload, qos=1, retain=will.retain)
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = SESSION_S
    properties.ReceiveMaximum = RECEIVE_MAXIMUM
    properties.MaximumPacketSize = MAX_PACKET_BYTES
    try:
        client.username_pw_set(access.user(), access.password())
        context = access.tls_context()
        if context is not None:
            context.sslsocket_class = _Encrypted
            client.tls_set_context(context)
        client.connect(access.host, access.port, KEEPALIVE_S, clean_start=False, properties=properties)
    except ConfigError as error:
        raise BrokerRefusedError(str(error)) from error
    except (OSError, ValueError) as error:
        raise unreached(f"{access.host}:{access.port}", access.host, error) from error
