"""What is said where a broker cannot be reached or does not want this program."""

import socket
import ssl

import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from emberline.links.mqtt_refusals import BrokerRefusedError, refused, unreached


def reason(code: int) -> ReasonCode:
    return ReasonCode(PacketTypes.CONNACK, identifier=code)


@pytest.mark.parametrize(
    ("code", "user", "words"),
    [
        (0x84, None, "MQTT 5"),
        (0x86, "ember", "refuses user ember"),
        (0x87, None, "without a user"),
        (0x8A, "ember", "refuses this program"),
    ],
)
def test_a_refusal_says_what_to_change(code: int, user: str | None, words: str) -> None:
    """Codes of MQTT 5, section 3.2.2.2."""
    error = refused("b:1883", user, reason(code))
    assert isinstance(error, BrokerRefusedError)
    assert words in str(error)


def untrusted() -> ssl.SSLCertVerificationError:
    error = ssl.SSLCertVerificationError("no")
    error.verify_message = "self-signed certificate"
    return error


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (untrusted(), "ca_file"),
        (ssl.SSLError("no"), "agree on TLS"),
        (socket.gaierror(-2, "no"), "no host named b"),
        (ConnectionRefusedError(111, "no"), "is it running"),
        (TimeoutError("no"), "does not answer"),
        (OSError(101, "Network is unreachable"), "Network is unreachable"),
        (ValueError("Invalid host."), "Invalid host"),
    ],
)
def test_a_broker_out_of_reach_is_told_with_what_to_look_at(error: OSError | ValueError, words: str) -> None:
    assert words in str(unreached("b:1883", "b", error))
