"""What a link needs of what is spoken on a port; frames over a real port are in test_serial."""

from collections.abc import Mapping
from typing import Any

from emberline.bench.bench_file import SerialPort
from emberline.links.arrivals import Greeting
from emberline.links.serial_talk import FramesTalk
from emberline_wire import Channel, FrameDecoder, Hello, Identify, Kind, decode_message, encode_frame

NOON_NS = 1_790_000_000 * 1_000_000_000


def talk(device: str | None = None, standing: Mapping[str, Any] | None = None) -> FramesTalk:
    return FramesTalk(SerialPort("/dev/none", device=device), {}, standing, None)


def hello(device: str) -> bytes:
    channel = Channel(0, "mass", Kind.BRIDGE_COUNTS, 100_000, 0.0024)
    return encode_frame(Hello(7, device, "1.0", (channel,), 0, 1000, 5000).to_bytes())


def test_a_device_is_asked_who_it_is_and_understood() -> None:
    frames = talk()
    frames.connected(NOON_NS)
    asked = [decode_message(body) for body in FrameDecoder().feed(frames.bytes_to_send())]
    assert any(isinstance(message, Identify) for message in asked)
    assert not frames.streaming
    (greeting,) = frames.take_in([(hello("yard"), NOON_NS)], NOON_NS)
    assert isinstance(greeting, Greeting)
    assert frames.greeting == greeting
    assert (frames.streaming, frames.refusal) == (True, "")


def test_another_device_is_refused_with_the_reason() -> None:
    frames = talk(device="shed")
    frames.connected(NOON_NS)
    assert frames.take_in([(hello("yard"), NOON_NS)], NOON_NS) == []
    assert "not shed" in frames.refusal
    frames.take_in([], NOON_NS)
    assert frames.refusal == ""


def test_noise_is_counted() -> None:
    frames = talk()
    frames.connected(NOON_NS)
    frames.take_in([(b"\0noise\0more\0", NOON_NS)], NOON_NS)
    assert frames.discarded == 2
    frames.disconnected()
