"""The reference firmware and the host's session, by the emulated board's own clock: pauses, a bad line, restarts."""

import itertools

import numpy as np
import pytest

from emberline_wire import Gap, LinkState, Readings, Rebooted, Session
from emulated_fixture import Board, Boards

MASS, WATER, FLAME, WATER_JUNCTION, FLAME_JUNCTION = range(5)
STEP_S = 0.1


class Host:
    """A host that stores all at once, on a line to a board."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.session = Session()
        self.readings: list[Readings] = []
        self.gaps: list[Gap] = []
        self.reboots = 0
        self.rng = np.random.default_rng(10)
        self.session.connected(0)

    def run(self, seconds: float, *, lose: float = 0.0) -> None:
        """Let time go on; `lose` is the share of bytes that the line loses either way."""
        for _ in range(round(seconds / STEP_S)):
            self.board.send_bytes(self._through(self.session.bytes_to_send(), lose))
            data = self._through(self.board.run(STEP_S), lose)
            now_ns = self.board.now_us * 1_000
            events = self.session.receive(data, now_ns) + self.session.tick(now_ns)
            for event in events:
                match event:
                    case Readings():
                        self.readings.append(event)
                        last = {event.channel.id: event.first_seq + len(event.raw)}
                        self.session.committed(last, event.boot)
                    case Gap():
                        self.gaps.append(event)
                    case Rebooted():
                        self.reboots += 1

    def numbers(self, stream: int, boot: int) -> list[int]:
        """Return the numbers of the samples that came of a stream, in the order in which they came."""
        ranges = (
            range(one.first_seq, one.first_seq + len(one.raw))
            for one in self.readings
            if (one.channel.id, one.boot) == (stream, boot)
        )
        return list(itertools.chain.from_iterable(ranges))

    def _through(self, data: bytes, lose: float) -> bytes:
        return bytes(byte for byte in data if self.rng.random() >= lose) if lose else data


def check_nothing_lost(host: Host) -> None:
    """Have each sample that the board took be here once, in order."""
    boots = host.board.end()["boots"]
    for name, stream in boots[-1]["streams"].items():
        number = ["mass", "water", "flame", "water_cj", "flame_cj"].index(name)
        found = host.numbers(number, boots[-1]["boot"])
        assert found == list(range(len(found))), name
        # What it took in its last moments is still with it.
        assert stream["acknowledged"] <= len(found) <= stream["taken"] <= len(found) + 25


def test_a_host_that_pauses_for_5_s_gets_all_of_four_channels_at_10_hz(boards: Boards) -> None:
    board = boards()
    host = Host(board)
    host.run(3.0)
    assert host.session.state is LinkState.STREAMING
    for stream in (WATER, FLAME, WATER_JUNCTION):
        host.session.set_rate(stream, 100_000)
    host.run(5.0)
    assert host.session.hello is not None
    assert [one.period_us for one in host.session.hello.channels[:4]] == [100_000] * 4
    for _ in range(3):
        board.run(5.0)  # nobody reads, nobody acknowledges, and most of it does not fit the line's buffer
        host.run(6.0)
    assert not host.gaps
    check_nothing_lost(host)


def test_a_line_that_loses_bytes_costs_no_sample(boards: Boards) -> None:
    host = Host(boards())
    host.run(2.0)
    host.run(20.0, lose=0.003)
    host.run(5.0)
    assert host.session.frames.counters.discarded > 10
    assert not host.gaps
    check_nothing_lost(host)


def test_a_pause_longer_than_the_ring_is_told_as_a_gap(boards: Boards) -> None:
    board = boards()
    host = Host(board)
    host.run(3.0)
    board.run(30.0)
    host.run(6.0)
    assert host.gaps
    boot = board.end()["boots"][-1]
    missing = sum(gap.last - gap.first + 1 for gap in host.gaps if gap.channel.id == MASS)
    here = host.numbers(MASS, boot["boot"])
    assert 150 <= missing <= 300
    assert here[-1] + 1 == len(here) + missing


def test_times_go_on_when_the_counter_wraps(boards: Boards) -> None:
    host = Host(boards("--wrap-after=6"))
    host.run(12.0)
    times_ns = np.concatenate([one.t_ns for one in host.readings if one.channel.id == MASS])
    assert np.diff(times_ns[10:]) == pytest.approx(1e8, abs=3e5)


def test_a_board_that_restarts_is_followed(boards: Boards) -> None:
    host = Host(boards())
    host.run(4.0)
    host.board.happens("brown-out")
    host.run(4.0)
    assert host.reboots == 1
    boots = host.board.end()["boots"]
    assert len(boots) == 2
    for boot in boots:
        found = host.numbers(MASS, boot["boot"])
        assert found == list(range(len(found)))
        assert len(found) >= 20
