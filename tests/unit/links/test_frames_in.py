"""Frames as messages of a broker, without a broker: what is believed, what waits, and what may be confirmed."""

from collections.abc import Callable
from typing import Any

import numpy as np

from emberline.bench.samples import SampleBatch
from emberline.links.arrivals import Arrival, Greeting, Restart
from emberline.links.frames_in import MAX_PARKED, FramesIn
from emberline.links.mqtt_messages import Packet, nobody
from emberline_wire import Ack, Channel, Hello, Kind, Ping, Pong, Samples, decode_message, seal, unseal

SECOND_NS = 1_000_000_000
NOON_NS = 1_790_000_000 * SECOND_NS
HOUR_NS = 3_600 * SECOND_NS


class Device:
    """Makes packets as a device would, and numbers them as a broker would."""

    def __init__(self, boot: int = 7, device: str = "dev") -> None:
        self.boot = boot
        self._device = device
        self._number = 0

    def hello(self, ticks: int = 0) -> bytes:
        channels = (
            Channel(0, "mass", Kind.BRIDGE_COUNTS, 100_000, 0.002, 0),
            Channel(1, "water", Kind.TEMPERATURE, 100_000, 0.1, 0),
        )
        return seal(Hello(self.boot, self._device, "1.0", channels, ticks, 1_000, 8_000).to_bytes())

    def samples(self, first_seq: int, count: int = 10, oldest_seq: int = 0, stream: int = 0) -> bytes:
        """A tenth of a second each, the first one taken as the device started."""
        return seal(self.body(first_seq, count, oldest_seq, stream))

    def body(self, first_seq: int, count: int = 10, oldest_seq: int = 0, stream: int = 0) -> bytes:
        return Samples(
            boot=self.boot,
            stream=stream,
            first_seq=first_seq,
            ticks=first_seq * 100_000 & 0xFFFF_FFFF,
            values=np.arange(first_seq, first_seq + count, dtype="<i4"),
            oldest_seq=oldest_seq,
            period_us=100_000,
        ).to_bytes()


def packet(payload: bytes, number: int, at_ns: int = NOON_NS, *, retained: bool = False) -> Packet:
    return Packet("up", payload, at_ns, 0.0, False, retained, "", number)


def answer_pings(frames: FramesIn, boot: int, ticks: int, at_ns: int) -> list[Arrival]:
    arrivals: list[Arrival] = []
    for sent in frames.packets_to_send():
        message = decode_message(unseal(sent))
        if isinstance(message, Ping):
            pong = seal(Pong(boot, message.time_ns, ticks & 0xFFFF_FFFF).to_bytes())
            arrivals += frames.take(packet(pong, 0, at_ns), 0)
    return arrivals


def numbers(arrivals: list[Arrival]) -> list[int]:
    return [seq for one in arrivals if isinstance(one, SampleBatch) for seq in range(one.first_seq, one.next_seq)]


def greeted(unread: Callable[[Packet, str], None] = nobody) -> FramesIn:
    frames = FramesIn(None, {}, None, unread)
    frames.connected(NOON_NS)
    frames.take(packet(Device().hello(), 1), 0)
    answer_pings(frames, 7, 0, NOON_NS)
    assert frames.claims.due() == [1]
    return frames


def test_a_frame_is_confirmed_once_its_samples_are_stored() -> None:
    frames, device = greeted(), Device()
    assert numbers(frames.take(packet(device.samples(0), 2), 0)) == list(range(10))
    assert frames.claims.due() == []
    frames.committed(7, {"mass": 10})
    standing = frames.standing()
    assert frames.claims.due() == [2]
    assert standing is not None
    assert "hello" in standing
    acks = [message for sent in frames.packets_to_send() if isinstance(message := decode_message(unseal(sent)), Ack)]
    assert acks == [Ack(7, {0: 10})]


def test_frames_behind_a_hole_wait_with_their_confirmation() -> None:
    frames, device = greeted(), Device()
    frames.take(packet(device.samples(0), 2), 0)
    assert numbers(frames.take(packet(device.samples(20), 3), 0)) == []
    frames.committed(7, {"mass": 10})
    assert frames.claims.due() == [2]
    assert numbers(frames.take(packet(device.samples(10), 4), 0)) == list(range(10, 30))
    frames.committed(7, {"mass": 30})
    assert sorted(frames.claims.due()) == [3, 4]


def test_a_frame_of_two_streams_is_confirmed_once_both_are_stored() -> None:
    frames, device = greeted(), Device()
    arrivals = frames.take(packet(seal(device.body(0) + device.body(0, stream=1)), 2), 0)
    assert [one.channel for one in arrivals if isinstance(one, SampleBatch)] == ["mass", "water"]
    frames.committed(7, {"mass": 10})
    assert frames.claims.due() == []
    frames.committed(7, {"water": 10})
    assert frames.claims.due() == [2]


def test_a_message_that_cannot_be_read_costs_a_frame_nothing_else_and_is_kept() -> None:
    unread: list[str] = []
    frames, device = greeted(lambda one, why: unread.append(f"{one.number}: {why}")), Device()
    arrivals = frames.take(packet(seal(device.body(0) + b"\x05" + device.body(0, stream=1) + b"\xff"), 2), 0)
    assert [one.channel for one in arrivals if isinstance(one, SampleBatch)] == ["mass", "water"]
    assert frames.discarded == 2
    assert unread == ["2: not all of it is of this protocol"]
    assert frames.claims.due() == []
    frames.committed(7, {"mass": 10, "water": 10})
    assert frames.claims.due() == [2]


def test_of_a_frame_with_a_stream_that_is_not_known_the_others_are_claimed() -> None:
    frames, device = greeted(), Device()
    frames.take(packet(seal(device.body(0, stream=5) + device.body(0)), 2), 0)
    assert frames.discarded == 1
    assert frames.claims.due() == []
    frames.committed(7, {"mass": 10})
    assert frames.claims.due() == [2]


def test_frames_before_a_hello_wait_for_it() -> None:
    frames, device = FramesIn(None, {}, None), Device()
    frames.connected(NOON_NS)
    for index in range(3):
        assert frames.take(packet(device.samples(10 * index), 2 + index), 0) == []
    arrivals = frames.take(packet(device.hello(3_000_000), 5), 0)
    arrivals += answer_pings(frames, 7, 3_000_000, NOON_NS)
    assert isinstance(arrivals[0], Greeting)
    assert numbers(arrivals) == list(range(30))
    assert frames.claims.due() == [5]
    frames.committed(7, {"mass": 30})
    assert frames.claims.due() == [2, 3, 4]


def test_no_more_than_some_wait_for_a_hello_that_never_comes() -> None:
    frames, device = FramesIn(None, {}, None), Device()
    frames.connected(NOON_NS)
    for index in range(MAX_PARKED + 3):
        frames.take(packet(device.samples(10 * index), 1 + index), 0)
    assert frames.claims.due() == [1, 2, 3]


def remembered() -> dict[str, Any]:
    """Return what is remembered after a second of samples."""
    frames, device = greeted(), Device()
    frames.take(packet(device.samples(0), 2), 0)
    frames.committed(7, {"mass": 10})
    standing = frames.standing()
    assert standing is not None
    return standing


def test_what_waited_while_the_host_was_away_needs_no_new_hello() -> None:
    frames, device = FramesIn(None, {}, remembered()), Device()
    (greeting,) = frames.connected(NOON_NS + 60 * SECOND_NS)
    assert isinstance(greeting, Greeting)
    (batch,) = frames.take(packet(device.samples(10), 1, NOON_NS + 60 * SECOND_NS), 58 * SECOND_NS)
    assert isinstance(batch, SampleBatch)
    assert batch.first_seq == 10
    # Sampled a second after noon, though it came a minute after.
    assert abs(int(batch.t_ns[0]) - (NOON_NS + SECOND_NS)) < SECOND_NS // 10


def test_a_message_that_waited_for_hours_is_given_the_right_lap_of_the_counter() -> None:
    """The counter wraps every 71.6 minutes; ten hours in a queue are eight laps."""
    frames, device = FramesIn(None, {}, remembered()), Device()
    now_ns = NOON_NS + 10 * HOUR_NS
    frames.connected(now_ns)
    (batch,) = frames.take(packet(device.samples(10), 1, now_ns), 10 * HOUR_NS - 3 * SECOND_NS)
    assert isinstance(batch, SampleBatch)
    assert abs(int(batch.t_ns[0]) - (NOON_NS + SECOND_NS)) < SECOND_NS


def test_a_device_that_restarted_meanwhile_is_taken_up_where_its_hello_lies_in_the_queue() -> None:
    frames = FramesIn(None, {}, remembered())
    before, after = Device(7), Device(8)
    frames.connected(NOON_NS + 60 * SECOND_NS)
    queue = [before.samples(10), after.hello(), after.samples(0)]
    arrivals: list[Arrival] = []
    for number, payload in enumerate(queue, 1):
        arrivals += frames.take(packet(payload, number, NOON_NS + 60 * SECOND_NS), 50 * SECOND_NS)
    arrivals += answer_pings(frames, 8, 55_000_000, NOON_NS + 60 * SECOND_NS)
    assert [one.boot for one in arrivals if isinstance(one, SampleBatch)] == [7, 8]
    assert [one.boot for one in arrivals if isinstance(one, Restart)] == [8]
    frames.committed(7, {"mass": 20})
    frames.committed(8, {"mass": 10})
    assert sorted(frames.claims.due()) == [1, 2, 3]


def test_a_remembered_hello_of_another_boot_or_none_does_no_harm() -> None:
    standing = remembered()
    for hello in ("zz", "", None, Device(9).hello().hex()):
        frames = FramesIn(None, {}, {**standing, "hello": hello})
        assert frames.connected(NOON_NS) == []
        assert not frames.streaming


def test_what_cannot_be_read_is_old_or_belongs_to_no_channel_is_confirmed_and_counted() -> None:
    frames, device = greeted(), Device()
    before = frames.discarded
    frames.take(packet(b"junk", 2), 0)
    frames.take(packet(device.samples(0), 3, retained=True), 0)
    frames.take(packet(device.samples(0, stream=5), 4), 0)
    assert frames.discarded == before + 3
    assert frames.claims.due() == [2, 3, 4]


def test_another_device_is_refused_with_the_reason() -> None:
    frames = FramesIn("dev", {}, None)
    frames.connected(NOON_NS)
    frames.take(packet(Device(device="stranger").hello(), 1), 0)
    assert "stranger" in frames.refusal
    frames.take(packet(Device().hello(), 2), 0)
    assert frames.refusal == ""
