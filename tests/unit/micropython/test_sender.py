"""The send loop on MicroPython: what goes over a link that breaks, and what the host's messages do."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import pytest

import emberline_wire as wire
from emberline_wire.framing import unseal
from emberline_wire.limits import OFFSET_UNIT_US, U32_MAX
from micropython_fixture import MicroPython

BOOT = 77
S = 1_000_000


@dataclass
class Run:
    """What a device took, and what it sent.

    Attributes:
        taken: By stream, a reading for each sequence number: time in us, raw value, fault bits.
        sent: Time, topic, message (None on `online`) and whether it is to be kept by the broker.
        packets: How many were sent on `up`.
        opened: Times at which a connection was made.
        end: The last line.
    """

    taken: dict[int, list[tuple[int, int, int]]] = field(default_factory=dict)
    sent: list[tuple[int, str, wire.Message | None, bool]] = field(default_factory=list)
    packets: int = 0
    opened: list[int] = field(default_factory=list)
    end: dict[str, Any] = field(default_factory=dict)

    def up(self, start_us: int = 0) -> list[tuple[int, wire.Message]]:
        """Return the messages on `up` from a time on."""
        return [(us, one) for us, topic, one, _ in self.sent if topic == "up" and one is not None and us >= start_us]

    def samples(self) -> list[wire.Samples]:
        """Return the messages of samples."""
        return [one for _, one in self.up() if isinstance(one, wire.Samples)]

    def replies(self, kind: type[wire.Message], start_us: int) -> list[Any]:
        """Return the messages of a type from a time on."""
        return [one for _, one in self.up(start_us) if isinstance(one, kind)]


def burn(
    micropython: MicroPython,
    *,
    seconds: int,
    breaks: Sequence[tuple[int, int]] = (),
    said: Sequence[tuple[int, wire.Message]] = (),
    acknowledges: bool = True,
    ring_s: int = 60,
    start_us: int = 0,
) -> Run:
    """Run a device for so many seconds; `said` are the host's messages and their times in us."""
    lines = micropython.run(
        "burn.py",
        data={
            "boot": BOOT,
            "for_us": seconds * S,
            "start_us": start_us,
            "breaks": breaks,
            "ring_s": ring_s,
            "acknowledges": acknowledges,
            "said": [[us, wire.seal(message.to_bytes()).hex()] for us, message in said],
        },
    )
    run = Run(end=lines.pop())
    for line in lines:
        if "taken" in line:
            readings = run.taken.setdefault(line["taken"], [])
            assert line["seq"] == len(readings)
            readings.append((line["us"], line["raw"], line["faults"]))
        elif line.get("opened"):
            run.opened.append(line["us"])
        elif "topic" in line:
            packet = bytes.fromhex(line["packet"])
            if line["topic"] == "online":
                assert packet == b"1"
                run.sent.append((line["us"], line["topic"], None, line["retain"]))
                continue
            run.packets += line["topic"] == "up"
            for message in wire.decode_body(unseal(packet)):
                assert isinstance(message, wire.Message)
                run.sent.append((line["us"], line["topic"], message, line["retain"]))
    return run


def check(run: Run) -> dict[int, set[int]]:
    """See that every sample sent is what was taken, and return the sequence numbers sent, by stream."""
    sent: dict[int, set[int]] = {}
    for message in run.samples():
        readings = run.taken[message.stream][message.first_seq : message.next_seq]
        assert [raw for _, raw, _ in readings] == message.values.tolist()
        faults = [0] * len(message) if message.faults is None else message.faults.tolist()
        assert [fault for _, _, fault in readings] == faults
        assert message.ticks == readings[0][0] & U32_MAX
        for (us, _, _), after_us in zip(readings, message.offsets_us().tolist(), strict=True):
            assert abs(us - readings[0][0] - after_us) <= OFFSET_UNIT_US // 2
        sent.setdefault(message.stream, set()).update(range(message.first_seq, message.next_seq))
    return sent


def test_all_that_is_taken_is_sent_once_and_forgotten_when_acknowledged(micropython: MicroPython) -> None:
    run = burn(micropython, seconds=30)
    sent = check(run)
    # Frames go out once a second: the readings of the last one are still to come.
    assert len(run.taken[0]) == 300
    assert sent[0] == set(range(run.end["wanted"][0][1]))
    assert max(sent[0]) >= 288
    assert sum(len(one) for one in run.samples()) == sum(map(len, sent.values()))
    assert run.end["waiting"] <= 12
    assert {one.stream for one in run.samples() if one.faults is not None} == {3}


def test_a_second_of_all_streams_is_one_packet(micropython: MicroPython) -> None:
    run = burn(micropython, seconds=30)
    # Twenty-nine or thirty seconds, a hello and a status every ten.
    assert 29 <= run.packets - len(run.replies(wire.Status, 0)) - len(run.replies(wire.Hello, 0)) <= 31
    assert len(run.samples()) >= 2 * 28


def test_a_connection_begins_with_a_hello_which_the_broker_keeps_too(micropython: MicroPython) -> None:
    run = burn(micropython, seconds=3)
    (_, online, _, kept), (_, up, first, not_kept), (_, topic, again, kept_too) = run.sent[:3]
    assert (online, kept, up, not_kept, topic, kept_too) == ("online", True, "up", False, "hello", True)
    assert isinstance(first, wire.Hello)
    assert first == again
    assert (first.boot, first.device, first.frame_period_ms, first.ring_ms) == (BOOT, "esp-1", 1000, 60_000)
    assert [(one.name, one.kind, one.period_us) for one in first.channels] == [
        ("mass", 1, 100_000),
        ("flame", 3, 250_000),
    ]


BREAKS = ((10 * S, 10 * S + 500_000), (20 * S, 45 * S), (50 * S + 40_000, 50 * S + 60_000))


def test_nothing_is_lost_over_a_link_that_breaks(micropython: MicroPython) -> None:
    run = burn(micropython, seconds=75, breaks=BREAKS)
    sent = check(run)
    assert len(run.opened) >= 3
    for stream, readings in run.taken.items():
        assert sent[stream] == set(range(max(sent[stream]) + 1))
        assert len(readings) - len(sent[stream]) <= 12
    assert [one.lost for one in run.replies(wire.Status, 0)].count(0) == len(run.replies(wire.Status, 0))
    assert dict(run.end["wanted"]) == {stream: len(numbers) for stream, numbers in sent.items()}


def test_after_a_break_comes_a_hello_and_then_the_oldest_sample_of_any_stream(micropython: MicroPython) -> None:
    run = burn(micropython, seconds=60, breaks=BREAKS[1:2])
    after = run.up(run.opened[-1])
    assert isinstance(after[0][1], wire.Hello)
    times = [one.ticks for _, one in after if isinstance(one, wire.Samples)]
    assert times[0] <= 20 * S
    assert times == sorted(times)


def test_what_a_full_ring_overwrites_is_said_to_be_lost(micropython: MicroPython) -> None:
    run = burn(micropython, seconds=60, breaks=BREAKS[1:2], ring_s=10)
    sent = check(run)
    missing = {stream: set(range(max(numbers))) - numbers for stream, numbers in sent.items()}
    assert len(missing[0]) > 100
    assert run.samples()[-1].oldest_seq > max(missing[run.samples()[-1].stream])
    (*_, status) = run.replies(wire.Status, 50 * S)
    assert status.lost >= sum(map(len, missing.values()))
    assert status.flags == wire.DeviceFlag.SAMPLING | wire.DeviceFlag.OVERRAN


def test_what_is_not_acknowledged_comes_again_while_the_host_is_heard(micropython: MicroPython) -> None:
    heard = burn(micropython, seconds=12, acknowledges=False, said=[(S, wire.Ping(1))])
    assert [one.first_seq for one in heard.samples() if one.stream == 0].count(0) >= 3
    alone = burn(micropython, seconds=12, acknowledges=False)
    assert [one.first_seq for one in alone.samples() if one.stream == 0].count(0) == 1


def test_a_stopped_device_takes_nothing_until_it_is_started(micropython: MicroPython) -> None:
    run = burn(
        micropython,
        seconds=20,
        said=[(5 * S, wire.Stop(BOOT)), (8 * S, wire.Stop(BOOT + 1)), (15 * S, wire.Start(BOOT))],
    )
    assert not [us for us, _, _ in run.taken[0] if 5 * S + 20_000 < us < 15 * S]
    assert [us for us, _, _ in run.taken[0] if us >= 15 * S]
    stopped, started = [one for one in run.replies(wire.Status, 5 * S) if one.ticks in (5 * S, 15 * S)]
    assert wire.DeviceFlag.SAMPLING not in stopped.flags
    assert wire.DeviceFlag.SAMPLING in started.flags
    assert check(run)[0] == set(range(run.end["wanted"][0][1]))


@pytest.mark.parametrize(("wanted_us", "period_us"), [(520_000, 500_000), (1_000, 100_000)])
def test_a_rate_is_kept_as_nearly_as_conversions_come(micropython: MicroPython, wanted_us: int, period_us: int) -> None:
    run = burn(micropython, seconds=15, said=[(5 * S, wire.SetRate(BOOT, 0, wanted_us))])
    (hello,) = run.replies(wire.Hello, 5 * S)
    assert hello.channels[0].period_us == period_us
    late = [us for us, _, _ in run.taken[0] if us > 6 * S]
    assert len(late) == pytest.approx(9 * S / period_us, abs=1.5)


def test_it_answers_pings_and_says_who_it_is_and_counts_what_it_cannot_read(micropython: MicroPython) -> None:
    said: list[tuple[int, wire.Message]] = [
        (4 * S, wire.Ping(2**64 - 1)),
        (4 * S, wire.Identify()),
        (5 * S, wire.Hello.from_bytes(HELLO)),
    ]
    run = burn(micropython, seconds=15, said=said)
    (pong,) = run.replies(wire.Pong, 0)
    assert pong == wire.Pong(BOOT, 2**64 - 1, 4 * S)
    assert len(run.replies(wire.Hello, 4 * S)) == 1
    assert run.replies(wire.Status, 6 * S)[-1].rejected == 1


HELLO = bytes.fromhex(
    "a9000101010201036262310463302e310581a6000001646d6173730201031a000186a004fa3b1c6917051a000148f50600071903e808191388"
)


def test_it_sends_again_from_where_the_host_wants(micropython: MicroPython) -> None:
    said: list[tuple[int, wire.Message]] = [
        (5 * S + 100_000, wire.Resume(BOOT, {0: 12, 3: 0})),
        (6 * S, wire.Ack(BOOT + 1, {0: 60})),
    ]
    run = burn(micropython, seconds=8, acknowledges=False, said=said)
    check(run)
    resumed = [one for us, one in run.up(5 * S + 100_000) if isinstance(one, wire.Samples)]
    assert {one.stream: one.first_seq for one in resumed[1::-1]} == {0: 12, 3: 0}


def test_a_counter_that_wraps_on_the_way_is_no_break(micropython: MicroPython) -> None:
    run = burn(micropython, seconds=20, start_us=(1 << 32) - 10 * S - (1 << 32) % 100_000)
    sent = check(run)
    assert sent[0] == set(range(max(sent[0]) + 1))
    ticks = [one.ticks for one in run.samples()]
    assert max(ticks) > 4_280_000_000
    assert ticks[-1] < 12 * S
