"""The virtual microcontroller: converters, ring, clock, commands, resend."""

from collections.abc import Iterable
from itertools import count

import numpy as np
import pytest

import emberline_wire as wire
from emberline_sim.device import wiring
from emberline_sim.device.converters import Block, barometer, bridge, cold_junction, thermocouple, thermometer
from emberline_sim.device.life import DeviceSpec
from emberline_sim.device.microcontroller import Microcontroller
from emberline_sim.device.ring import Ring
from emberline_sim.recording import record
from emberline_sim.scenario import load_scenario
from emberline_wire.limits import MAX_FRAME_BYTES, OFFSET_UNIT_US

MASS = bridge(0, "mass", 10.0, 419.0, 84_213)


def even_blocks(seconds: float, rate_hz: float = 10.0) -> list[Block]:
    """Readings at an even pace whose value in grams is the time in seconds."""
    t_s = np.arange(1, round(seconds * rate_hz) + 1) / rate_hz - 0.5 / rate_hz
    return [MASS.convert(t_s, t_s)]


def device(
    seconds: float = 100.0, *, blocks: Iterable[Block] | None = None, spec: DeviceSpec | None = None
) -> Microcontroller:
    return Microcontroller(spec or DeviceSpec(), [MASS], even_blocks(seconds) if blocks is None else blocks, count(40))


def sent(dev: Microcontroller) -> list[wire.Message]:
    decoder = wire.FrameDecoder()
    return [wire.decode_message(body) for frame in iter(dev.next_frame, b"") for body in decoder.feed(frame)]


def samples(dev: Microcontroller) -> list[wire.Samples]:
    return [message for message in sent(dev) if isinstance(message, wire.Samples)]


def tell(dev: Microcontroller, now_s: float, *messages: wire.Message) -> None:
    dev.receive(b"".join(wire.encode_frame(message.to_bytes()) for message in messages), now_s)


# Converters


def test_counts_come_back_as_grams_within_half_a_count() -> None:
    value = np.linspace(-2000.0, 5000.0, 101)
    block = MASS.convert(np.arange(101.0), value)
    back = (block.raw - MASS.channel.zero) * MASS.channel.scale
    assert np.abs(back - value).max() <= 0.5 / 419.0 + 1e-6
    assert not block.faults.any()


def test_a_bridge_saturates_at_24_bits_and_says_so() -> None:
    block = MASS.convert(np.arange(3.0), np.array([1e6, -1e6, np.nan]))
    assert block.raw.tolist() == [0x7FFFFF, -0x800000, 0x7FFFFF]
    assert block.faults.tolist() == [wire.Fault.SATURATED] * 3


@pytest.mark.parametrize(("step_c", "size"), [(0.25, 2), (1 / 128, 4)])
def test_thermocouple_codes(step_c: float, size: int) -> None:
    converter = thermocouple(1, "water", 4.0, step_c)
    block = converter.convert(np.arange(3.0), np.array([99.75, -10.0, np.nan]))
    assert (block.raw[:2] * step_c).tolist() == [99.75, -10.0]
    assert block.faults.tolist() == [0, 0, wire.Fault.OPEN]
    assert converter.dtype.itemsize == size


def test_other_converters_say_what_they_are() -> None:
    water = thermocouple(1, "water", 4.0, 0.25)
    junction = cold_junction(2, water.channel, 1.0)
    assert (junction.channel.name, junction.channel.kind, junction.channel.serves) == (
        "water_cj",
        wire.Kind.COLD_JUNCTION,
        1,
    )
    assert thermometer(3, "ambient", 0.5).channel.kind.unit == "c"
    assert barometer(4, "pressure", 0.2).channel.kind.unit == "pa"


@pytest.mark.parametrize("name", ["pellets_pot_lifted", "two_cells", "fast_cell"])
def test_a_recording_wired_to_a_device_can_be_read_back(name: str) -> None:
    recording = record(load_scenario(name))
    converters, blocks = wiring.wire(recording)
    read: dict[str, list[Block]] = {converter.channel.name: [] for converter in converters}
    last_s = 0.0
    for block in blocks:
        assert block.t_s[0] >= last_s
        last_s = float(block.t_s[0])
        read[block.channel].append(block)
    for converter in converters:
        if converter.channel.kind is wire.Kind.COLD_JUNCTION:
            continue
        channel, source = converter.channel, recording.channels[converter.channel.name]
        raw = np.concatenate([block.raw for block in read[channel.name]])
        value = np.where(np.isnan(source.value), np.nan, (raw - channel.zero) * channel.scale)
        assert np.nanmax(np.abs(value - source.value)) <= 0.51 * abs(channel.scale)
        np.testing.assert_array_equal(np.concatenate([block.t_s for block in read[channel.name]]), source.t_s)
    hello = Microcontroller(DeviceSpec(), converters, [], [1]).next_frame()
    assert len(hello) <= MAX_FRAME_BYTES


# Frames and clock


def test_it_says_hello_and_its_status_and_then_a_frame_a_second() -> None:
    dev = device()
    dev.advance(0.0)
    hello, status = sent(dev)
    assert isinstance(hello, wire.Hello)
    assert hello.boot == dev.boot == 40
    assert isinstance(status, wire.Status)
    assert status.flags is wire.DeviceFlag.SAMPLING
    for now_s in (0.5, 0.99):
        dev.advance(now_s)
        assert sent(dev) == []
    dev.advance(1.0)
    (frame,) = samples(dev)
    assert (frame.first_seq, len(frame), frame.period_us) == (0, 10, 100_000)


def test_its_clock_drifts_and_wraps() -> None:
    dev = device(spec=DeviceSpec(drift_ppm=200.0, ticks_at_start=2**32 - 500_000))
    dev.advance(2.0)
    (frame,) = samples(dev)
    assert frame.ticks == 2**32 - 500_000 + int(0.05 * 1_000_200)
    later = (frame.ticks + frame.offsets_us()[-1]) % 2**32
    assert later == pytest.approx(1.95 * 1_000_200 - 500_000, abs=OFFSET_UNIT_US)


def test_an_uneven_pace_is_told_sample_by_sample() -> None:
    t_s = np.array([0.1, 0.21, 0.29, 0.42, 0.9])
    dev = device(blocks=[MASS.convert(t_s, t_s)])
    dev.advance(1.0)
    (frame,) = samples(dev)
    assert frame.period_us is None
    np.testing.assert_allclose((frame.ticks + frame.offsets_us()) * 1e-6, t_s, atol=OFFSET_UNIT_US * 0.5e-6 + 1e-6)


def test_two_samples_closer_than_any_pace_are_told_one_by_one() -> None:
    t_s = np.array([0.5, 0.5004])
    dev = device(blocks=[MASS.convert(t_s, t_s)])
    dev.advance(1.0)
    (frame,) = samples(dev)
    assert frame.period_us is None


@pytest.mark.parametrize("jitter_s", [0.0, 1e-3])
def test_many_samples_take_several_frames_none_too_long(jitter_s: float) -> None:
    t_s = np.arange(0.005, 1.0, 1 / 300) + np.random.default_rng(1).uniform(0, jitter_s, 299)
    dev = Microcontroller(DeviceSpec(), [bridge(0, "mass", 300.0, 419.0, 0)], [MASS.convert(t_s, t_s)], [1])
    dev.advance(1.0)
    frames = list(iter(dev.next_frame, b""))
    assert max(map(len, frames)) <= MAX_FRAME_BYTES
    got = [
        m for f in frames for b in wire.FrameDecoder().feed(f) if isinstance(m := wire.decode_message(b), wire.Samples)
    ]
    assert len(got) > 2
    assert [m.first_seq for m in got] == [0, *(m.next_seq for m in got[:-1])]
    assert got[-1].next_seq == 299


def test_faults_are_told_where_there_are_any() -> None:
    t_s = np.arange(0.05, 2.0, 0.1)
    dev = device(blocks=[MASS.convert(t_s, np.where((t_s > 1.3) & (t_s < 1.5), np.nan, 1.0))])
    dev.advance(1.0)
    (good,) = samples(dev)
    dev.advance(2.0)
    (bad,) = samples(dev)
    assert good.faults is None
    assert bad.faults is not None
    assert bad.faults.tolist() == [0, 0, 0, 8, 8, 0, 0, 0, 0, 0]


# Commands


def test_pings_are_answered_with_the_ticks_of_their_arrival() -> None:
    dev = device(spec=DeviceSpec(drift_ppm=100.0))
    dev.advance(2.5)
    sent(dev)
    tell(dev, 2.5, wire.Ping(987))
    assert sent(dev) == [wire.Pong(40, 987, int(2.5 * 1_000_100))]


def test_what_is_not_acknowledged_is_asked_for_and_comes_again() -> None:
    dev = device()
    for now_s in (1.0, 2.0, 3.0):
        dev.advance(now_s)
        sent(dev)
    tell(dev, 3.1, wire.Resume(40, {0: 15}))
    (again,) = samples(dev)
    assert (again.first_seq, again.next_seq, again.oldest_seq) == (15, 30, 0)
    tell(dev, 3.2, wire.Ack(40, {0: 30}))
    tell(dev, 3.3, wire.Resume(40, {0: 0}))
    assert samples(dev) == []
    assert dev.waiting == 0


def test_without_an_acknowledgement_it_sends_again_by_itself_while_the_host_is_there() -> None:
    for host in (True, False):
        dev = device(seconds=1.0)
        dev.advance(1.0)
        sent(dev)
        if host:
            tell(dev, 1.0, wire.Ping(1))
        again = []
        for now_s in np.arange(1.1, 6.0, 0.1):
            dev.advance(float(now_s))
            again += samples(dev)
        assert len(again) == (1 if host else 0)


def test_memory_ends_with_the_oldest_overwritten_and_said() -> None:
    dev = device(spec=DeviceSpec(ring_s=5.0))
    dev.advance(20.0)
    (first, *_) = samples(dev)
    assert first.oldest_seq == first.first_seq == 200 - 51
    tally = dev.tally()["boots"]
    assert isinstance(tally, list)
    assert tally[0]["streams"]["mass"]["overwritten"] == 149
    tell(dev, 20.0, wire.Identify())
    dev.advance(30.0)
    status = [m for m in sent(dev) if isinstance(m, wire.Status)][-1]
    assert wire.DeviceFlag.OVERRAN in status.flags
    assert status.lost > 149


def test_a_reboot_forgets_everything_and_takes_a_new_id() -> None:
    dev = device()
    dev.advance(3.0)
    sent(dev)
    dev.reboot(3.0)
    assert dev.boot == 41
    dev.advance(3.2)
    assert dev.next_frame() == b""
    tell(dev, 3.3, wire.Ping(1))
    dev.advance(4.5)
    messages = sent(dev)
    assert isinstance(messages[0], wire.Hello)
    (frame,) = [m for m in messages if isinstance(m, wire.Samples)]
    assert (frame.boot, frame.first_seq) == (41, 0)
    assert frame.ticks == pytest.approx(450_000, abs=2)
    assert not [m for m in messages if isinstance(m, wire.Pong)]


def test_commands_for_another_boot_are_not_obeyed() -> None:
    dev = device()
    dev.advance(1.0)
    sent(dev)
    tell(dev, 1.0, wire.Stop(39), wire.Ack(39, {0: 10}), wire.Resume(39, {0: 0}), wire.SetRate(39, 0, 500_000))
    assert sent(dev) == []
    assert dev.waiting == 10


def test_stop_and_start() -> None:
    dev = device()
    dev.advance(1.0)
    tell(dev, 1.0, wire.Stop(40))
    dev.advance(2.0)
    assert [m.flags for m in sent(dev) if isinstance(m, wire.Status)][-1] == 0
    tell(dev, 2.0, wire.Start(40))
    dev.advance(3.0)
    (frame,) = samples(dev)
    assert frame.first_seq == 10
    assert frame.ticks == pytest.approx(2_050_000, abs=2)


def test_a_slower_rate_is_obeyed_and_a_faster_one_as_far_as_possible() -> None:
    dev = device()
    dev.advance(1.0)
    sent(dev)
    tell(dev, 1.0, wire.SetRate(40, 0, 500_000))
    (hello,) = sent(dev)
    assert isinstance(hello, wire.Hello)
    assert hello.channels[0].period_us == 500_000
    dev.advance(3.0)
    assert sum(len(frame) for frame in samples(dev)) == 4
    tell(dev, 3.0, wire.SetRate(40, 0, 1000))
    (hello,) = sent(dev)
    assert isinstance(hello, wire.Hello)
    assert hello.channels[0].period_us == 100_000


def test_noise_from_the_host_is_counted() -> None:
    dev = device()
    dev.advance(0.0)
    sent(dev)
    dev.receive(b"AT\r\n\x00" + wire.encode_frame(b"\x00"), 0.0)
    dev.advance(10.0)
    (status,) = [m for m in sent(dev) if isinstance(m, wire.Status)]
    assert status.rejected == 2


def test_an_acknowledgement_of_what_was_never_sent_is_not_believed() -> None:
    ring = Ring(0, np.dtype("<i4"), 10)
    for i in range(5):
        ring.put(i * 1000, i, 0)
    ring.acknowledge(5, 0.0)
    assert ring.waiting == 5


def bodies(dev: Microcontroller) -> list[list[wire.Message]]:
    found = [wire.decode_body(wire.unseal(packet)) for packet in iter(dev.next_packet, b"")]
    return [[message for message in one if isinstance(message, wire.Message)] for one in found]


def packets(dev: Microcontroller) -> list[wire.Message]:
    return [message for body in bodies(dev) for message in body]


def test_packets_hold_the_same_messages_as_frames() -> None:
    framed, sealed = device(), device()
    for dev in (framed, sealed):
        dev.advance(3.2)
    assert [message.to_bytes() for message in packets(sealed)] == [message.to_bytes() for message in sent(framed)]


def bench() -> Microcontroller:
    """Four channels at 10 Hz, none of them at an even pace."""
    dice = np.random.default_rng(4)
    converters = [thermometer(stream, f"probe{stream}", 10.0) for stream in range(4)]
    blocks = [
        one.convert(np.arange(0.05, 60.0, 0.1) + dice.uniform(0.0, 0.04, 600), dice.uniform(20.0, 90.0, 600))
        for one in converters
    ]
    return Microcontroller(DeviceSpec(ring_s=60.0), converters, wiring.cut(blocks, 10.0), count(1))


def test_a_second_of_four_streams_is_one_packet_and_a_hello_stands_alone() -> None:
    dev = bench()
    dev.advance(0.0)
    assert [[type(message) for message in body] for body in bodies(dev)] == [[wire.Hello], [wire.Status]]
    for second in range(1, 6):
        dev.advance(second + 0.01)
        (body,) = bodies(dev)
        assert all(isinstance(message, wire.Samples) and len(message) == 10 for message in body)
        assert len(body) == 4


def test_what_does_not_fit_a_packet_goes_in_the_next_the_oldest_first() -> None:
    dev = bench()
    dev.advance(30.0)
    found = bodies(dev)
    assert len(found) > 10
    assert all(sum(len(message.to_bytes()) for message in body) <= 504 for body in found)
    samples = [message for body in found for message in body if isinstance(message, wire.Samples)]
    for stream in range(4):
        mine = [message for message in samples if message.stream == stream]
        assert [message.first_seq for message in mine] == [0, *(message.next_seq for message in mine[:-1])]
        assert mine[-1].next_seq >= 298
    assert [message.ticks for message in samples] == sorted(message.ticks for message in samples)


def test_a_device_obeys_packets_and_counts_what_is_none() -> None:
    dev = device()
    dev.advance(2.0)
    packets(dev)
    dev.receive_packet(wire.seal(wire.Identify().to_bytes()), 2.0)
    dev.receive_packet(b"junk", 2.0)
    assert [type(message) for message in packets(dev)] == [wire.Hello]
    assert dev._status().rejected == 1


def test_a_broker_just_connected_to_is_greeted_and_given_all_that_is_not_acknowledged() -> None:
    dev = device()
    dev.advance(5.0)
    packets(dev)
    dev.receive_packet(wire.seal(wire.Ack(dev.boot, {0: 20}).to_bytes()), 5.3)
    dev.connected(5.4)
    first, *rest = packets(dev)
    assert isinstance(first, wire.Hello)
    resent = [message for message in rest if isinstance(message, wire.Samples)]
    assert (resent[0].first_seq, resent[-1].next_seq) == (20, 50)


def test_the_oldest_samples_are_sent_first_whichever_their_stream() -> None:
    water = thermocouple(1, "water", 10.0, 0.25)
    t_s = np.arange(1, 1001) / 10.0 - 0.05
    spec = DeviceSpec(ring_s=100.0)
    dev = Microcontroller(spec, [MASS, water], [MASS.convert(t_s, t_s), water.convert(t_s, t_s)], count(40))
    dev.advance(90.0)
    ticks = [message.ticks for message in packets(dev) if isinstance(message, wire.Samples)]
    assert len(ticks) > 10
    assert ticks == sorted(ticks)
