"""Lines of text on their way from a port: what is handed on, what is set aside, and what is told as lost."""

import logging
import math
from collections import defaultdict

import numpy as np
import pytest

from emberline.bench.samples import FLAG_ARRIVAL_STAMPED, FLAG_FAULT, FLAG_UNCHECKED
from emberline.bench.text_lines import TextLines, TimeUnit
from emberline.links.arrivals import Arrival, Greeting, Missed, Restart, Unnumbered
from emberline.links.lines_in import DAMAGED, HOLES, LinesIn

SECOND_NS = 1_000_000_000
NOON_NS = 1_790_000_000 * SECOND_NS
BAUD = 9600
TIMED = TextLines(("2", "3"), 3, "1", TimeUnit.MILLISECONDS)
UNTIMED = TextLines(("1", "2"), 2)
LABELLED = TextLines(("water", "M"))
NAMES = {"2": "water", "3": "mass"}


class Port:
    """Hears lines, each at its own time."""

    def __init__(self, lines: TextLines = TIMED, names: dict[str, str] | None = None) -> None:
        self.talk = LinesIn(lines, NAMES if names is None else names, BAUD)
        self.talk.connected(NOON_NS)
        self.arrivals: list[Arrival] = []
        self.now_s = 0.0
        self.hear("the rest of a line")

    def hear(self, text: str | bytes, now_s: float | None = None) -> None:
        self.now_s = self.now_s if now_s is None else now_s
        data = text.encode() if isinstance(text, str) else text
        now_ns = NOON_NS + round(self.now_s * 1e9)
        self.arrivals += self.talk.take_in([(data + b"\r\n", now_ns)], now_ns)

    def raw(self, channel: str) -> list[float]:
        return [
            value
            for one in self.arrivals
            if isinstance(one, Unnumbered) and one.channel == channel
            for value in one.raw.tolist()
        ]

    def flags(self) -> set[int]:
        return {flag for one in self.arrivals if isinstance(one, Unnumbered) for flag in one.flags.tolist()}

    def missed(self) -> list[tuple[str, int, str]]:
        return [(one.channel, one.count, one.reason) for one in self.arrivals if isinstance(one, Missed)]


def seconds(port: Port, start: int, stop: int, step: int = 1) -> None:
    for k in range(start, stop, step):
        port.hear(f"{1000 * k},{20 + k},{1000 - k}", float(k))


def test_columns_become_channels_with_the_time_of_the_device() -> None:
    port = Port()
    seconds(port, 0, 30)
    assert port.raw("water") == [20.0 + k for k in range(30)]
    assert port.raw("mass") == [1000.0 - k for k in range(30)]
    t_ns = np.concatenate([one.t_ns for one in port.arrivals if isinstance(one, Unnumbered) and one.channel == "mass"])
    assert np.diff(t_ns) == pytest.approx(SECOND_NS, rel=1e-3)
    assert port.flags() == {FLAG_UNCHECKED}
    assert port.missed() == []


def test_without_a_time_column_the_end_of_the_line_on_the_wire_is_its_time() -> None:
    port = Port(UNTIMED, {})
    port.hear("20,1000\r\n21,999", 10.0)
    found = [one.t_ns for one in port.arrivals if isinstance(one, Unnumbered) and one.channel == "1"]
    # The second line is eight bytes longer on the wire, of ten bits each.
    assert np.diff(np.concatenate(found)).tolist() == pytest.approx([8 * 10 / BAUD * 1e9], abs=1.1e6)
    assert port.flags() == {FLAG_UNCHECKED | FLAG_ARRIVAL_STAMPED}


def test_labels_come_together_or_each_on_a_line_of_its_own() -> None:
    port = Port(LABELLED, {"M": "mass"})
    port.hear("water: 20.5 M: 1000.1")
    port.hear("water=21")
    port.hear("other=5 M=999")
    assert port.raw("water") == [20.5, 21.0]
    assert port.raw("mass") == [1000.1, 999.0]
    assert port.raw("other") == []


def test_the_device_is_greeted_once_all_its_channels_have_come_and_when_their_pace_is_known() -> None:
    port = Port(LABELLED, {"M": "mass"})
    port.hear("water=20", 0.0)
    assert port.talk.greeting is None
    port.hear("M=1000", 0.05)
    for k in range(1, 20):
        port.hear(f"water={k} M={k}", 0.2 * k)
    greetings = [one for one in port.arrivals if isinstance(one, Greeting)]
    assert [channel.name for channel in greetings[0].channels] == ["water", "M"]
    assert 2 <= len(greetings) <= 3
    assert greetings[-1] is port.talk.greeting
    assert [round(channel.period_s, 2) for channel in greetings[-1].channels] == [0.2, 0.2]
    assert all(channel.unit == "" and not channel.calibrated for channel in greetings[-1].channels)


def test_a_label_that_never_comes_is_not_waited_for_for_ever() -> None:
    port = Port(LABELLED, {})
    for k in range(15):
        port.hear(f"water={k}", float(k))
    assert port.talk.greeting is not None
    assert [channel.name for channel in port.talk.greeting.channels] == ["water"]


def test_a_broken_sensor_is_a_reading_with_a_fault() -> None:
    port = Port()
    port.hear("0,nan,1000", 0.0)
    assert math.isnan(port.raw("water")[0])
    assert port.flags() == {FLAG_UNCHECKED, FLAG_UNCHECKED | FLAG_FAULT}


def test_headers_comments_and_blank_lines_are_no_losses() -> None:
    port = Port()
    for line in ("millis,water,mass", "# ready", "", "// v2"):
        port.hear(line)
    seconds(port, 0, 5)
    assert (port.talk.counters.good, port.talk.counters.remarks, port.talk.discarded) == (5, 3, 0)
    assert port.missed() == []


def test_of_labels_a_damaged_line_is_lost_where_lines_have_all_of_them() -> None:
    port = Port(LABELLED, {"M": "mass"})
    for line in ("water=20 M=900", "water=2\xff0 M=900", "water=21 M=899"):
        port.hear(line.encode("latin-1"))
    assert port.missed() == [("water", 1, DAMAGED), ("mass", 1, DAMAGED)]
    port = Port(LABELLED, {"M": "mass"})
    for line in ("water=20", "M=900", "wat\xffr=20", "M=899"):
        port.hear(line.encode("latin-1"))
    assert port.talk.discarded == 1
    assert port.missed() == []


@pytest.mark.parametrize(
    "damaged", [b"6000,26", b"6000,26,9x4", b"60\xff0,26,994", b"6000,26,9947000,27,993", b"x" * 500, b",26,994"]
)
def test_a_damaged_line_is_set_aside_counted_and_told_as_lost(damaged: bytes, caplog: pytest.LogCaptureFixture) -> None:
    port = Port()
    seconds(port, 0, 6)
    with caplog.at_level(logging.WARNING, "emberline"):
        port.hear(damaged, 6.0)
        seconds(port, 7, 12)
    assert port.raw("water") == [20.0 + k for k in (*range(6), *range(7, 12))]
    assert port.talk.discarded == 1
    assert port.missed() == [("water", 1, DAMAGED), ("mass", 1, DAMAGED)]
    assert "set aside" in caplog.text


def test_of_many_damaged_lines_one_is_a_warning_and_all_are_counted(caplog: pytest.LogCaptureFixture) -> None:
    port = Port()
    with caplog.at_level(logging.WARNING, "emberline"):
        for k in range(50):
            port.hear("1,2", float(k))
    assert port.talk.discarded == 50
    assert caplog.text.count("set aside") == 1
    assert not port.talk.streaming


def test_lines_that_never_came_are_found_by_the_device_s_own_time() -> None:
    port = Port()
    seconds(port, 0, 20)
    seconds(port, 27, 40)
    assert port.missed() == [("water", 7, HOLES), ("mass", 7, HOLES)]
    (first, _) = [one for one in port.arrivals if isinstance(one, Missed)]
    assert (first.end_ns - first.start_ns) * 1e-9 == pytest.approx(8.0, abs=0.01)


def test_an_uneven_sketch_has_no_holes_that_anybody_could_know_of() -> None:
    port = Port()
    dice = np.random.default_rng(2)
    at_s = np.cumsum(dice.choice([0.3, 1.0, 2.5, 4.0], 200))
    for t in at_s:
        port.hear(f"{round(1000 * t)},20,1000", float(t))
    assert port.missed() == []
    assert len(port.raw("water")) == 200


def test_a_sketch_that_goes_over_to_another_pace_is_followed() -> None:
    port = Port()
    seconds(port, 0, 30)
    seconds(port, 30, 130, 4)
    assert len(port.missed()) <= 2 * 9
    late = port.arrivals[-10:]
    assert not any(isinstance(one, Missed) for one in late)


def test_a_restart_begins_a_new_time_and_costs_no_line() -> None:
    port = Port()
    seconds(port, 100, 110)
    for k in range(10):
        port.hear(f"{400 + 1000 * k},{50 + k},900", 112.0 + k)
    assert [(one.old_boot, one.boot) for one in port.arrivals if isinstance(one, Restart)] == [(0, 1)]
    assert port.raw("water") == [120.0 + k for k in range(10)] + [50.0 + k for k in range(10)]
    assert port.talk.discarded == 0


def test_one_damaged_time_is_no_restart() -> None:
    port = Port()
    seconds(port, 100, 110)
    port.hear("110,130,890", 110.0)
    seconds(port, 111, 115)
    port.hear("9115000,135,885", 115.0)
    seconds(port, 116, 120)
    assert not any(isinstance(one, Restart) for one in port.arrivals)
    assert port.talk.discarded == 2
    assert [count for _, count, _ in port.missed()] == [1, 1, 1, 1]


def test_times_never_run_back() -> None:
    port = Port()
    seconds(port, 100, 105)
    for k in range(5):
        port.hear(f"{1000 * k},20,1000", 105.0)
    by_channel = defaultdict[str, list[int]](list)
    for one in port.arrivals:
        if isinstance(one, Unnumbered):
            by_channel[one.channel] += one.t_ns.tolist()
    for t_ns in by_channel.values():
        assert t_ns == sorted(t_ns)


def test_what_is_wrong_is_told_by_what_came() -> None:
    port = Port()
    port.talk.connected(NOON_NS)
    assert "nothing comes" in port.talk.nobody
    port.hear(b"\xf0\x8e\xff")
    assert "emberline doctor" in port.talk.nobody
    assert not port.talk.streaming
    port.hear("0,1,2")
    assert port.talk.streaming
    port.talk.disconnected()
    assert port.talk.bytes_to_send() == b""


def test_every_whole_line_is_handed_on_or_counted_whatever_happens_on_the_line() -> None:
    """Conservation for lines: good ones and those set aside are all that came."""
    dice = np.random.default_rng(5)
    port, sent = Port(), 0
    for k in range(2000):
        line = bytearray(f"{500 * k},{20 + k % 7},{1000 - k % 11}".encode())
        if dice.random() < 0.1:
            line[dice.integers(len(line))] ^= 1 << dice.integers(7)
        if b"\n" in line or b"\r" in line or line.startswith((b"#", b"//")):
            continue
        sent += 1
        port.hear(bytes(line), 0.5 * k)
    counters = port.talk.counters
    held = 0 if port.talk._doubtful is None else 1
    assert counters.good + counters.set_aside + counters.remarks + held == sent
    assert len(port.raw("water")) == len(port.raw("mass")) == counters.good
    assert 100 < counters.set_aside < 250
    assert not any(isinstance(one, Restart) for one in port.arrivals)
