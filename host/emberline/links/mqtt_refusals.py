"""Why a broker cannot be reached or will not have this program, in words that say what to do."""

import socket
import ssl

from paho.mqtt.reasoncodes import ReasonCode

from emberline.links.errors import LinkError


class BrokerRefusedError(LinkError):
    """The broker answers, and refuses this program: a person has to change something, here or there."""


# Reason codes of MQTT 5 (OASIS standard of 7 March 2019, section 2.4).
_UNSUPPORTED_VERSION = (0x84, 0x01)
_BAD_ACCOUNT = (0x86, 0x87, 0x8C)


def refused(where: str, user: str | None, reason: ReasonCode) -> LinkError:
    """Return our own error for a broker that turns this program away.

    Args:
        where: The broker.
        user: Account that was tried, or None.
        reason: What the broker said.
    """
    if reason.value in _UNSUPPORTED_VERSION:
        return BrokerRefusedError(f"{where} does not speak MQTT 5: use a broker that does")
    if reason.value in _BAD_ACCOUNT:
        who = "this program without a user" if user is None else f"user {user}"
        return BrokerRefusedError(
            f"the broker at {where} refuses {who} ({reason}): correct user and password_file under [mqtt], or the "
            "account on the broker"
        )
    return BrokerRefusedError(f"the broker at {where} refuses this program ({reason})")


def not_granted(where: str, topic: str, reason: ReasonCode) -> BrokerRefusedError:
    """Return our own error for a broker that does not grant a topic with acknowledgements.

    Args:
        where: The broker.
        topic: The topic.
        reason: What the broker said.
    """
    if reason.is_failure:
        return BrokerRefusedError(
            f"{where} does not let this program read {topic} ({reason}): permit that in the access list of the broker"
        )
    return BrokerRefusedError(
        f"{where} grants {topic} without acknowledgements only, so that readings could be lost: let the broker grant "
        "QoS 1"
    )


def unreached(where: str, host: str, error: OSError | ValueError) -> LinkError:
    """Return our own error for a broker that cannot be reached."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return BrokerRefusedError(
            f"the certificate of {where} is not to be trusted ({error.verify_message}): name the authority that vouches"
            " for it with ca_file under [mqtt]"
        )
    if isinstance(error, ssl.SSLError):
        why = getattr(error, "reason", None) or error
        return LinkError(f"{where} and this program cannot agree on TLS ({why}): is the port right?")
    if isinstance(error, socket.gaierror):
        return LinkError(f"there is no host named {host}: correct host under [mqtt]")
    if isinstance(error, ConnectionRefusedError):
        return LinkError(f"no broker answers at {where}: is it running?")
    if isinstance(error, TimeoutError):
        return LinkError(f"{where} does not answer: is the broker switched on, and the network up?")
    return LinkError(f"{where} cannot be reached: {getattr(error, 'strerror', None) or error}")
