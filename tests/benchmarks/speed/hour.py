"""An hour of a bench as its daemon would store it, and what a plain program would keep of the same readings."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from emberline.bench.bench_file import Bench, default_bench
from emberline.bench.channels import Role
from emberline.bench.samples import SampleBatch
from emberline.links.arrivals import Arrival, Translator
from emberline.store.blocks import Commit
from emberline_sim.device.life import DeviceSpec
from emberline_sim.device.microcontroller import Microcontroller
from emberline_sim.device.wiring import wire
from emberline_sim.recording import Recording
from emberline_wire import Session

SECOND_NS = 1_000_000_000
START_NS = 1_764_072_000 * SECOND_NS
"""2025-11-25T12:00:00Z."""
BENCH = "yard"
DRIFT_PPM = 40.0
LATEST_NS = 8_000_000
"""Bytes come up to so much later than they were sent: the scheduler's doing, and a converter's to USB."""

Row = tuple[int, str, int, str, int, int, float, int]
"""Commit, device, boot, channel, number, time, raw value, flags."""


def seconds_of(recording: Recording, until_s: float) -> list[Commit]:
    """Return one commit a second of a recording, as frames of a simulated device and its host's session give them.

    Raw values are a converter's codes, times those of a device's counter that runs fast, fitted to late arrivals.
    """
    converters, blocks = wire(recording)
    device = Microcontroller(DeviceSpec(drift_ppm=DRIFT_PPM), converters, blocks, iter([77]))
    session, translator, dice = Session(), Translator(), np.random.default_rng(3)
    session.connected(START_NS)
    commits: list[Commit] = []
    for second in range(1, int(until_s) + 1):
        arrivals: list[Arrival] = []
        for step in range(5):
            now_s = second - 1 + 0.2 * step
            now_ns = START_NS + round(now_s * 1e9)
            device.receive(session.bytes_to_send(), now_s)
            device.advance(now_s)
            while frame := device.next_frame():
                now_ns += int(dice.integers(LATEST_NS))
                arrivals += translator.arrivals(session.receive(frame, now_ns), now_ns)
            arrivals += translator.arrivals(session.tick(now_ns), now_ns)
        batches = tuple(one for one in arrivals if isinstance(one, SampleBatch))
        session.committed(_wanted(translator, batches), 77)
        if batches:
            commits.append(Commit(len(commits) + 1, batches))
    return commits


def _wanted(translator: Translator, batches: tuple[SampleBatch, ...]) -> dict[int, int]:
    streams = translator.streams()
    return {streams[batch.channel]: batch.next_seq for batch in batches}


def rows_of(commits: Sequence[Commit]) -> list[Row]:
    """Return a row a sample."""
    return [
        (commit.id, batch.device, batch.boot, batch.channel, batch.first_seq + i, t_ns, raw, flags)
        for commit in commits
        for batch in commit.batches
        for i, (t_ns, raw, flags) in enumerate(
            zip(batch.t_ns.tolist(), batch.raw.tolist(), batch.flags.tolist(), strict=True)
        )
    ]


def bench_of(recording: Recording) -> Bench:
    """Return a bench of its channels."""
    return replace(default_bench(Role(name) for name in recording.channels), id=BENCH)
