"""Nothing is lost without a word between device and disk: samples sent = samples stored + samples flagged."""

import asyncio
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from conservation import check
from emberline import app
from emberline.store.reader import StoreReader
from live_fixture import SimulatedBench, simulated_bench, until

if TYPE_CHECKING:
    from emberline.service.daemon import Daemon

# Seconds each where nobody else wants the machine.
pytestmark = pytest.mark.timeout(180)

LENGTH_S = 190.0
"""Long enough for faults, too short for a burn: only transport is tested here."""


async def record(bench: SimulatedBench, data: Path) -> None:
    """Record until the simulated bench has ended and all that it sent is stored."""

    async def beside(daemon: "Daemon") -> None:
        await bench.process.wait()
        await asyncio.sleep(0.2)

    await app.serve(data, port=str(bench.port), speed=60.0, beside=beside)


@pytest.mark.parametrize(
    "options",
    [
        (),
        ("--fault", "double@30-90:0.002", "--drift-ppm", "200"),
        ("--fault", "junk@0:3000", "--fault", "junk@50:500", "--at-once"),
        ("--frame-period", "0.25"),
    ],
    ids=["sound line", "doubled bytes", "junk", "short frames"],
)
async def test_a_line_in_trouble_costs_no_sample(tmp_path: Path, options: tuple[str, ...]) -> None:
    async with simulated_bench(tmp_path / "bench", *options, duration_s=LENGTH_S) as bench:
        await record(bench, tmp_path / "data")
        check(bench, tmp_path / "data", lost=False)


async def test_what_the_device_overwrites_while_unplugged_is_flagged(tmp_path: Path) -> None:
    options = ("--fault", "unplug@50:40", "--ring", "8")
    async with simulated_bench(tmp_path / "bench", *options, duration_s=LENGTH_S) as bench:
        await record(bench, tmp_path / "data")
        check(bench, tmp_path / "data", lost=True)
    gaps = StoreReader(tmp_path / "data" / app.STORE_NAME).gaps("bench")
    long = [gap for gap in gaps if gap.channel == "mass" and (gap.end_ns - gap.start_ns) * 1e-9 > 20.0]
    assert len(long) == 1
    assert "overwrote" in long[0].reason


async def test_a_daemon_that_comes_back_goes_on_where_it_was(tmp_path: Path) -> None:
    async with simulated_bench(tmp_path / "bench", duration_s=LENGTH_S) as bench:

        async def for_a_while(daemon: "Daemon") -> None:
            counts = daemon.lanes["bench"].ingest.counts
            # On a busy machine the burn may be over before the third start.
            await until(lambda: counts.committed > 500 or bench.process.returncode is not None, "some readings")

        for _ in range(3):
            await app.serve(tmp_path / "data", port=str(bench.port), speed=60.0, beside=for_a_while)
        await record(bench, tmp_path / "data")
        check(bench, tmp_path / "data", lost=False)
    batches = [b for b in StoreReader(tmp_path / "data" / app.STORE_NAME).batches("bench") if b.channel == "mass"]
    steps = [(int(b.t_ns[0]) - int(a.t_ns[-1])) / 1e9 for a, b in pairwise(batches)]
    assert min(steps) > 0.0
    assert max(steps) < 0.25
