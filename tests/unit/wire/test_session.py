"""The host's session: hello and version, order and gaps, reboot, acknowledgement, resume."""

from dataclasses import dataclass, field, replace

import cbor2
import numpy as np
import pytest

from emberline_wire import (
    Ack,
    Channel,
    DeviceFlag,
    Event,
    FrameDecoder,
    Gap,
    Greeted,
    Hello,
    Identify,
    Kind,
    LinkState,
    Loss,
    Message,
    MessageError,
    Ping,
    Pong,
    Readings,
    Rebooted,
    Refused,
    Resume,
    Samples,
    Session,
    Standing,
    Status,
    decode_message,
    encode_frame,
    seal,
)
from emberline_wire.errors import UnknownMessageError

SECOND_NS = 1_000_000_000
T0_NS = 1_795_000_000 * SECOND_NS
CHANNELS = (
    Channel(0, "mass", Kind.BRIDGE_COUNTS, 100_000, 1 / 419),
    Channel(1, "water", Kind.THERMOCOUPLE_LINEARISED, 250_000, 0.25),
)


def hello(boot: int = 7, device: str = "bench-a", ticks: int = 0) -> Hello:
    return Hello(boot, device, "1.0", CHANNELS, ticks, 1000, 8000)


def samples(
    first: int, count: int = 10, *, stream: int = 0, boot: int = 7, oldest: int = 0, ticks0: int = 0
) -> Samples:
    """Samples of a stream whose sample `i` was taken at `ticks0 + 100 000 i` and has the raw value `i`."""
    return Samples(
        boot,
        stream,
        first,
        (ticks0 + first * 100_000) % 2**32,
        np.arange(first, first + count, dtype=np.int32),
        oldest,
        period_us=100_000,
    )


@dataclass
class Host:
    """A session with a hand on both ends of its line."""

    session: Session = field(default_factory=Session)
    now_ns: int = T0_NS
    ticks: int = 0

    def give(self, *messages: Message, after_s: float = 0.01) -> list[Event]:
        self.now_ns += round(after_s * SECOND_NS)
        self.ticks += round(after_s * 1e6)
        return self.session.receive(b"".join(encode_frame(m.to_bytes()) for m in messages), self.now_ns)

    def sent(self) -> list[Message]:
        return [decode_message(body) for body in FrameDecoder().feed(self.session.bytes_to_send())]

    def greet(self, boot: int = 7) -> list[Event]:
        """Say hello and answer the first ping; return all events."""
        self.session.connected(self.now_ns)
        events = self.give(hello(boot))
        return events + self.pong(boot)

    def pong(self, boot: int = 7) -> list[Event]:
        ping = next(m for m in self.sent() if isinstance(m, Ping))
        return self.give(Pong(boot, ping.time_ns, self.ticks % 2**32), after_s=0.002)


def readings(events: list[Event]) -> list[Readings]:
    return [event for event in events if isinstance(event, Readings)]


def test_it_asks_and_then_compares_clocks_before_it_resumes() -> None:
    host = Host()
    host.session.connected(host.now_ns)
    assert host.sent() == [Identify()]
    (greeted,) = host.give(hello())
    assert isinstance(greeted, Greeted)
    assert [type(m) for m in host.sent()] == [Ping, Resume]
    assert host.session.state is LinkState.STREAMING


def test_samples_wait_for_the_clock_and_then_come_in_order_with_their_times() -> None:
    host = Host()
    host.session.connected(host.now_ns)
    host.give(hello())
    assert host.give(samples(0)) == []
    (first,) = readings(host.pong())
    assert first.channel.name == "mass"
    np.testing.assert_array_equal(first.raw, np.arange(10.0))
    np.testing.assert_array_equal(np.diff(first.t_ns), 100_000_000)
    assert abs(int(first.t_ns[0]) - T0_NS) < 20e6


def test_without_a_pong_arrival_times_must_do_after_three_seconds() -> None:
    host = Host()
    host.session.connected(host.now_ns)
    host.give(hello(), samples(0))
    assert host.session.tick(host.now_ns + 2 * SECOND_NS) == []
    assert len(readings(host.session.tick(host.now_ns + 3 * SECOND_NS))) == 1


def test_a_lost_frame_is_asked_for_once_and_what_followed_it_waits() -> None:
    host = Host()
    host.greet()
    assert len(readings(host.give(samples(0)))) == 1
    assert host.give(samples(20)) == []
    assert [m for m in host.sent() if isinstance(m, Resume)] == [Resume(7, {0: 10})]
    assert host.give(samples(30)) == []
    assert not [m for m in host.sent() if isinstance(m, Resume)]
    out = readings(host.give(samples(10), samples(20), samples(30)))
    assert [(r.first_seq, len(r)) for r in out] == [(10, 10), (20, 10), (30, 10)]
    assert host.session.counters.duplicates == 20


def test_a_request_that_was_lost_is_repeated() -> None:
    host = Host()
    host.greet()
    host.give(samples(10))
    host.sent()
    host.session.tick(host.now_ns + SECOND_NS)
    assert not [m for m in host.sent() if isinstance(m, Resume)]
    host.session.tick(host.now_ns + 2 * SECOND_NS)
    assert [m for m in host.sent() if isinstance(m, Resume)] == [Resume(7, {0: 0})]


def test_what_the_device_overwrote_is_a_gap() -> None:
    host = Host()
    host.greet()
    host.give(samples(0))
    gap, reading, held = host.give(samples(50, oldest=45), samples(45, 5, oldest=45))
    assert isinstance(gap, Gap)
    assert (gap.first, gap.last, gap.loss, gap.next_seq) == (10, 44, Loss.OVERRUN, 45)
    assert isinstance(reading, Readings)
    assert reading.first_seq == 45
    assert isinstance(held, Readings)
    assert held.first_seq == 50


@pytest.mark.parametrize("overlap", [1, 5, 9])
def test_frames_cut_differently_in_a_resend_are_joined_without_doubles(overlap: int) -> None:
    host = Host()
    host.greet()
    out = readings(host.give(samples(0), samples(10 - overlap, 10)))
    raw = np.concatenate([r.raw for r in out])
    np.testing.assert_array_equal(raw, np.arange(20.0 - overlap))
    t_ns = np.concatenate([r.t_ns for r in out])
    np.testing.assert_array_equal(np.diff(t_ns), 100_000_000)


def test_acknowledgement_only_after_the_commit() -> None:
    host = Host()
    host.greet()
    host.give(samples(0))
    assert not [m for m in host.sent() if isinstance(m, Ack)]
    host.session.committed({0: 10}, boot=7)
    assert host.sent() == [Ack(7, {0: 10})]


def test_an_acknowledgement_that_was_lost_is_given_again_when_the_samples_come_again() -> None:
    host = Host()
    host.greet()
    host.give(samples(0))
    host.session.committed({0: 10}, boot=7)
    host.sent()
    assert host.give(samples(0)) == []
    assert host.sent() == [Ack(7, {0: 10})]


def test_a_commit_of_an_older_boot_acknowledges_nothing() -> None:
    host = Host()
    host.greet(boot=8)
    host.sent()
    host.session.committed({0: 10}, boot=7)
    assert host.sent() == []


def test_a_reboot_ends_the_old_boot_and_begins_the_new_one_at_zero() -> None:
    host = Host()
    host.greet()
    host.give(samples(0), samples(20))
    host.sent()
    assert host.give(samples(5, boot=8)) == []
    assert host.session.state is LinkState.ASKING
    assert host.sent()[-1] == Identify()
    gap, held, rebooted, greeted = host.give(hello(boot=8))
    assert isinstance(gap, Gap)
    assert (gap.first, gap.last, gap.loss) == (10, 19, Loss.REBOOT)
    assert isinstance(held, Readings)
    assert (held.boot, held.first_seq) == (7, 20)
    assert rebooted == Rebooted(7, 8, {0: 30, 1: 0})
    assert isinstance(greeted, Greeted)
    resume = next(m for m in host.sent() if isinstance(m, Resume))
    assert resume == Resume(8, {0: 0, 1: 0})


def test_first_contact_says_what_was_gone_before_it() -> None:
    host = Host()
    host.greet()
    gap, reading = host.give(samples(500, oldest=500))
    assert isinstance(gap, Gap)
    assert (gap.first, gap.last, gap.loss) == (0, 499, Loss.BEFORE_CONTACT)
    assert isinstance(reading, Readings)


def test_a_new_session_goes_on_where_the_store_stands() -> None:
    host = Host()
    host.greet()
    (stored,) = readings(host.give(samples(0)))
    host.give(samples(10))
    standing = host.session.standing({0: 10})
    assert standing is not None
    again = Host(Session(standing=standing), host.now_ns + SECOND_NS, host.ticks + 1_000_000)
    again.session.connected(again.now_ns)
    again.sent()
    again.give(hello(ticks=again.ticks))
    assert [m for m in again.sent() if isinstance(m, Resume | Ack)] == [Ack(7, {0: 10}), Resume(7, {0: 10, 1: 0})]
    (resent,) = readings(again.give(samples(10)))
    assert resent.first_seq == 10
    assert resent.t_ns[0] - stored.t_ns[-1] == pytest.approx(100_000_000, abs=1_000_000)


def test_another_device_on_the_same_path_is_refused_and_the_right_one_taken_back() -> None:
    host = Host()
    host.greet()
    host.session.disconnected()
    host.session.connected(host.now_ns)
    (refused,) = host.give(hello(device="bench-b"), hello(device="bench-b"))
    assert isinstance(refused, Refused)
    assert "bench-b" in refused.why
    assert "bench-a" in refused.why
    assert host.give(samples(0)) == []
    (greeted,) = host.give(hello())
    assert isinstance(greeted, Greeted)


def test_a_device_that_would_fill_its_line_is_refused_and_taken_once_it_fits() -> None:
    host = Host(Session(baud=2_400))
    host.session.connected(host.now_ns)
    (refused,) = host.give(hello(), hello(), samples(0))
    assert isinstance(refused, Refused)
    assert "a line of 2400 baud" in refused.why
    assert host.session.hello is None
    slower = (replace(CHANNELS[0], period_us=1_000_000), replace(CHANNELS[1], period_us=2_000_000))
    (greeted,) = host.give(replace(hello(), channels=slower))
    assert isinstance(greeted, Greeted)


def test_another_version_is_refused_with_words_that_help() -> None:
    host = Host()
    host.session.connected(host.now_ns)
    body = cbor2.dumps({0: 1, 2: 2, 3: "bench-a"})
    (refused,) = host.session.receive(encode_frame(body), host.now_ns)
    assert isinstance(refused, Refused)
    assert "version 2" in refused.why
    assert host.session.state is LinkState.REFUSED


def test_samples_before_the_hello_are_counted_and_not_believed() -> None:
    host = Host()
    host.session.connected(host.now_ns)
    assert host.give(samples(0)) == []
    assert host.session.counters.unconfirmed == 1


def stored_standing() -> Standing:
    """Return the standing of a session that has stored a second of samples."""
    host = Host()
    host.greet()
    host.give(samples(0))
    host.session.committed({0: 10}, 7)
    standing = host.session.standing()
    assert standing is not None
    return standing


def test_a_hello_recalled_lets_in_what_waits_of_its_boot() -> None:
    session = Session(standing=stored_standing())
    session.connected(T0_NS)
    assert session.recall(hello(), T0_NS) == [Greeted(hello())]
    assert session.state is LinkState.STREAMING
    (batch,) = readings(session.take([samples(10)], T0_NS + SECOND_NS))
    assert batch.first_seq == 10


def test_messages_of_one_body_are_taken_in_as_if_each_had_come_alone() -> None:
    together, alone = Session(), Session()
    found: list[Message | MessageError] = [
        hello(),
        samples(0),
        MessageError("none"),
        UnknownMessageError("new"),
        samples(10),
        samples(30),
    ]
    for session in (together, alone):
        session.connected(T0_NS)
    events = together.take(found, T0_NS) + together.tick(T0_NS + 4 * SECOND_NS)
    one_by_one = [event for one in found for event in alone.take([one], T0_NS)] + alone.tick(T0_NS + 4 * SECOND_NS)
    assert [one.first_seq for one in readings(events)] == [one.first_seq for one in readings(one_by_one)] == [0, 10]
    assert together.counters == alone.counters
    assert (together.counters.malformed, together.counters.unknown) == (1, 1)
    assert together.packets_to_send() == alone.packets_to_send()


def test_a_packet_is_opened_or_counted() -> None:
    session = Session()
    body = samples(0).to_bytes() + Status(7, 0, DeviceFlag.SAMPLING, 0, 0, 0).to_bytes()
    assert [type(one) for one in session.open_packet(seal(body))] == [Samples, Status]
    assert session.open_packet(b"junk") == []
    assert (session.frames.counters.frames, session.frames.counters.discarded) == (1, 1)


@pytest.mark.parametrize("recalled", [hello(boot=8), hello(device="bench-b")])
def test_a_hello_of_another_boot_or_device_is_not_recalled(recalled: Hello) -> None:
    session = Session(standing=stored_standing())
    session.connected(T0_NS)
    assert session.recall(recalled, T0_NS) == []
    assert session.state is LinkState.ASKING


def test_nothing_is_recalled_without_a_standing_or_before_a_link() -> None:
    session = Session()
    session.connected(T0_NS)
    assert session.recall(hello(), T0_NS) == []
    assert Session(standing=stored_standing()).recall(hello(), T0_NS) == []


def test_a_packet_that_waited_for_hours_has_the_time_at_which_it_was_sampled() -> None:
    """Without the wait, a counter that wraps every 71.6 minutes would be read in the wrong lap."""
    session = Session(standing=stored_standing())
    now_ns = T0_NS + 5 * 3_600 * SECOND_NS
    session.connected(now_ns)
    session.recall(hello(), now_ns)
    waited_ns = 5 * 3_600 * SECOND_NS - 4 * SECOND_NS
    (batch,) = readings(session.take([samples(10)], now_ns, waited_ns))
    assert abs(int(batch.t_ns[0]) - (T0_NS + SECOND_NS)) < SECOND_NS // 10
