"""Three daemons share the benches of one broker; one of them is killed and started again, and nothing is lost."""

import asyncio
import json
from contextlib import AsyncExitStack
from pathlib import Path

import pytest

from broker_fixture import Broker, free_port
from conservation import check
from daemon_fixture import DaemonProcess, daemon_process
from emberline.app import STORE_NAME
from emberline.bench.channels import Role
from emberline.bench.samples import SampleBatch
from emberline.service.sharding import Shard
from emberline.store.reader import StoreReader
from integration.test_forwarding import answers, exported, victoria_metrics
from live_fixture import SimulatedBench, simulated_bench, until

pytestmark = pytest.mark.timeout(300)

SPEED = 20.0
LENGTH_S = 200.0
SHARDS = 3
EARLY, LATE = ("shed", "barn"), ("yard", "cellar")
"""Benches whose hellos the broker has kept when the daemons come, and benches that come later."""
NAMES = (*EARLY, *LATE)


def number_of(bench: str) -> int:
    return next(number for number in range(1, SHARDS + 1) if Shard(number, SHARDS).holds(bench))


def samples_of(data: Path, bench: str) -> list[SampleBatch]:
    return list(StoreReader(data / STORE_NAME).batches(bench))


async def recorded_by(daemon: DaemonProcess, names: list[str]) -> None:
    """Wait until a daemon records just these benches."""
    async with asyncio.timeout(120.0):
        while True:
            health = await daemon.health()
            benches = [] if health is None else health["benches"]
            if sorted(one["bench"] for one in benches) == sorted(names) and all(
                one["samples"]["stored"] for one in benches
            ):
                return
            await asyncio.sleep(0.1)


def rows_on(url: str) -> dict[str, int]:
    """Return how many samples the server has of each bench."""
    found: dict[str, int] = {}
    for labels, rows in exported(url, "emberline_sample_raw").items():
        bench = json.loads(labels)["bench"]
        found[bench] = found.get(bench, 0) + len(rows)
    return found


async def test_three_daemons_record_each_bench_once_though_one_is_killed(tmp_path: Path, broker: Broker) -> None:
    port = free_port()
    (tmp_path / "server.toml").write_text(f'url = "http://127.0.0.1:{port}"\nevery_s = 0\n')
    own = {number: [name for name in NAMES if number_of(name) == number] for number in range(1, SHARDS + 1)}
    assert all(own.values()), "a shard without a bench tries nothing"
    folders = {number: tmp_path / f"data-{number}" for number in own}
    async with AsyncExitStack() as stack:
        url = stack.enter_context(victoria_metrics(tmp_path / "vm", port))
        await until(lambda: answers(url), "the server", 60.0)
        benches: dict[str, SimulatedBench] = {}

        async def begin(*names: str) -> None:
            for name in names:
                # They do not wait for a host: a daemon has to hear of them first.
                words = ("--seed", str(len(benches)), "--ring", "3000", "--bench", name, "--at-once")
                benches[name] = await stack.enter_async_context(
                    simulated_bench(tmp_path / name, *words, duration_s=LENGTH_S, speed=SPEED, broker=broker.address)
                )

        await begin(*EARLY)
        daemons = {}
        for number, folder in folders.items():
            words = ("--broker", broker.address, "--shard", f"{number}/{SHARDS}", "--speed", f"{SPEED:g}", "--no-http")
            daemons[number] = await stack.enter_async_context(
                daemon_process(folder, *words, "--server", str(tmp_path / "server.toml"))
            )
        await daemons[2].answers()
        health = await daemons[2].health()
        assert health is not None
        assert (health["recording"], health["benches"]) == ("not recording", [])
        assert "no bench has been heard of yet" in health["why"]
        await begin(*LATE)
        await recorded_by(daemons[2], own[2])
        await daemons[2].kill()
        assert benches["yard"].process.returncode is None, "its burn was over already"
        await asyncio.gather(*(recorded_by(daemons[number], own[number]) for number in (1, 3)))
        await daemons[2].start()
        for bench in benches.values():
            async with asyncio.timeout(120.0):
                await bench.process.wait()
        for number, names in own.items():
            await recorded_by(daemons[number], names)
        stored = {name: samples_of(folders[number_of(name)], name) for name in NAMES}
        expected = {name: sum(map(len, batches)) for name, batches in stored.items()}
        await until(lambda: rows_on(url) == expected, "every sample of every bench on the server", 120.0)
        assert [await daemon.stop() for daemon in daemons.values()] == [0, 0, 0]
    for name in NAMES:
        check(benches[name], folders[number_of(name)], name, lost=False)
    for number, folder in folders.items():
        assert StoreReader(folder / STORE_NAME).benches() == sorted(own[number])
    assert {one.channel for one in stored["yard"]} >= {Role.WATER.value, Role.FLAME.value, Role.MASS.value}
