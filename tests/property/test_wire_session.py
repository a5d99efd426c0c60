"""One session test over four transports: whole, a byte at a time, lossy, delayed; all is kept once or flagged."""

from collections import defaultdict
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emberline_sim.device.converters import Block, bridge, thermocouple
from emberline_sim.device.life import DeviceSpec
from emberline_sim.device.microcontroller import Microcontroller
from emberline_wire import Event, Gap, Loss, Readings, Rebooted, Session

T0_NS = 1_795_000_000_000_000_000
CONVERTERS = (bridge(0, "mass", 10.0, 419.0, 1000), thermocouple(1, "water", 4.0, 0.25))
DURATION_S = 30.0
STEP_S = 0.05
CALM_S = 15.0
"""After the burn the line is good, and both sides have this long to come to an end."""


def blocks(seed: int) -> Iterator[Block]:
    rng = np.random.default_rng(seed)
    for converter, rate_hz in zip(CONVERTERS, (10.0, 4.0), strict=True):
        t_s = np.sort(rng.uniform(0.0, DURATION_S, int(rate_hz * DURATION_S)))
        yield converter.convert(t_s, rng.normal(50.0, 5.0, len(t_s)))


class Transport:
    """Carries frames from the device to the host, and everything the other way, with its own kind of trouble."""

    def __init__(self, kind: str, seed: int) -> None:
        self.kind = kind
        self.rng = np.random.default_rng(seed)
        self.calm = False
        self._queue: list[tuple[float, bytes]] = []

    def pieces(self, frames: list[bytes], now_s: float) -> list[bytes]:
        """Return what the host reads at `now_s`."""
        if self.kind == "byte-at-a-time":
            return [bytes([octet]) for frame in frames for octet in frame]
        if self.kind == "lossy" and not self.calm:
            return [frame for frame in frames if self.rng.random() > 0.25]
        if self.kind == "delayed":
            due_s = max([now_s + self.rng.exponential(0.3), *(at_s for at_s, _ in self._queue)])
            self._queue += [(due_s, frame) for frame in frames]
            ready = [frame for at_s, frame in self._queue if at_s <= now_s]
            self._queue = [(at_s, frame) for at_s, frame in self._queue if at_s > now_s]
            return ready
        return [b"".join(frames)]

    def up(self, data: bytes) -> bytes:
        return b"" if self.kind == "lossy" and not self.calm and self.rng.random() < 0.25 else data


def run(kind: str, seed: int, *, reboot: bool, crash: bool, ring_s: float = 8.0) -> tuple[list[Event], Microcontroller]:
    """Run a device and a host that stores what comes every half second; return all events that were stored."""
    device = Microcontroller(DeviceSpec(ring_s=ring_s, drift_ppm=150.0, ticks_at_start=2**32 - 10**7), CONVERTERS,
                             blocks(seed), [101, 102])  # fmt: skip
    transport, session = Transport(kind, seed), Session()
    stored, fresh, standing = list[Event](), list[Event](), None
    session.connected(T0_NS)
    for step in range(1, round((DURATION_S + CALM_S) / STEP_S)):
        now_s = step * STEP_S
        now_ns = T0_NS + round(now_s * 1e9)
        transport.calm = now_s > DURATION_S
        if reboot and step == 240:
            device.reboot(now_s)
        if crash and step == 405:
            session, fresh = Session(standing=standing), []
            session.connected(now_ns)
        device.receive(transport.up(session.bytes_to_send()), now_s)
        device.advance(now_s)
        if device.exhausted:
            device.finish()
        frames = list(iter(device.next_frame, b""))
        for piece in transport.pieces(frames, now_s):
            fresh += session.receive(piece, now_ns)
        fresh += session.tick(now_ns)
        if step % 10 == 0:
            wanted: dict[int, dict[int, int]] = defaultdict(dict)
            for event in fresh:
                if isinstance(event, Readings | Gap):
                    wanted[event.boot][event.channel.id] = event.next_seq
            stored, fresh = stored + fresh, []
            for boot, streams in wanted.items():
                session.committed(streams, boot)
            standing = session.standing()
    return stored, device


def check(events: list[Event], device: Microcontroller) -> None:
    boots = device.tally()["boots"]
    assert isinstance(boots, list)
    ended = {e.old_boot: e.ended for e in events if isinstance(e, Rebooted)}
    for boot in boots:
        for stream in boot["streams"].values():
            parts = [
                e
                for e in events
                if isinstance(e, Readings | Gap) and (e.boot, e.channel.id) == (boot["boot"], stream["stream"])
            ]
            spans = [(e.first_seq, e.next_seq) if isinstance(e, Readings) else (e.first, e.next_seq) for e in parts]
            end = ended.get(boot["boot"], {}).get(stream["stream"], stream["taken"])
            edges = [0, *(edge for span in spans for edge in span), end]
            assert edges[0::2] == edges[1::2], "samples are in order, without overlap, and holes are flagged"
            t_ns = np.concatenate([np.array([], dtype=np.int64), *(e.t_ns for e in parts if isinstance(e, Readings))])
            assert np.all(np.diff(t_ns) >= 0)


@pytest.mark.parametrize("kind", ["whole", "byte-at-a-time", "lossy", "delayed"])
@settings(max_examples=12, derandomize=True, deadline=None)
@given(seed=st.integers(0, 2**31), reboot=st.booleans(), crash=st.booleans())
def test_conservation(kind: str, seed: int, reboot: bool, crash: bool) -> None:
    events, device = run(kind, seed, reboot=reboot, crash=crash)
    check(events, device)
    if kind != "lossy":
        assert not [e for e in events if isinstance(e, Gap) and e.loss is Loss.OVERRUN]


@pytest.mark.parametrize("kind", ["whole", "byte-at-a-time", "delayed"])
def test_on_a_good_line_every_transport_gives_the_same_samples(kind: str) -> None:
    ours, theirs = (run(k, 7, reboot=False, crash=False)[0] for k in (kind, "whole"))
    for stream in (0, 1):
        raw = [
            np.concatenate([e.raw for e in events if isinstance(e, Readings) and e.channel.id == stream])
            for events in (ours, theirs)
        ]
        np.testing.assert_array_equal(raw[0], raw[1])


def test_a_ring_too_small_for_the_line_loses_samples_and_says_so() -> None:
    events, device = run("lossy", 3, reboot=False, crash=False, ring_s=0.8)
    check(events, device)
    assert [e for e in events if isinstance(e, Gap) and e.loss is Loss.OVERRUN]
