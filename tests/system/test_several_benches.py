"""One daemon with three simulated benches, two on ports and one behind a broker, and burns that overlap."""

import asyncio
import json
import sqlite3
from contextlib import AsyncExitStack, closing
from pathlib import Path

import pytest

from broker_fixture import Broker
from conservation import check, check_replay
from conversation_fixture import said_by
from daemon_fixture import DaemonProcess, daemon_process
from emberline.app import STORE_NAME
from emberline.store.reader import StoreReader
from live_fixture import SPEED, SimulatedBench, simulated_bench

BURN_S = 560.0
NAMES = ("yard", "shed", "barn")
EVENTS = {"lit", "pot_on", "boil", "pot_off", "flameout"}


def bench_file(folder: Path, name: str, place: str) -> str:
    channels = "".join(f'[[channel]]\nrole = "{role}"\n' for role in ("water", "flame", "mass"))
    path = folder / f"{name}.toml"
    path.write_text(f'id = "{name}"\n{channels}{place}\n', encoding="utf-8")
    return str(path)


async def burnt(daemon: DaemonProcess, bench: SimulatedBench, name: str, after_s: float) -> None:
    """Arm a bench's trial, let it burn, and end it."""
    await asyncio.sleep(after_s)
    await daemon.told({"do": "arm", "bench": name, "plan": bench.plan, "label": None}, 90.0)
    await bench.process.wait()
    await daemon.told({"do": "end", "bench": name}, 90.0)


async def summarised(data: Path, count: int) -> None:
    """Wait for the summaries of all trials."""
    async with asyncio.timeout(120.0):
        while True:
            with closing(sqlite3.connect(data / STORE_NAME)) as connection:
                (found,) = connection.execute("SELECT count(*) FROM results").fetchone()
            if found == count:
                return
            await asyncio.sleep(0.1)


@pytest.mark.timeout(300)
async def test_three_benches_burn_at_once_and_each_has_its_trial(tmp_path: Path, broker: Broker) -> None:
    data = tmp_path / "data"
    places = {
        "yard": f'[serial]\nport = "{tmp_path}/yard/port"',
        "shed": f'[serial]\nport = "{tmp_path}/shed/port"',
        "barn": f'[mqtt]\nhost = "{broker.host}"\nport = {broker.port}',
    }
    options = [word for name, place in places.items() for word in ("--bench", bench_file(tmp_path, name, place))]
    async with AsyncExitStack() as stack:
        benches = {}
        for seed, name in enumerate(NAMES, start=11):
            # All three devices have the same id, as boards that were given the same program do.
            words = ["--seed", str(seed), "--ring", "3000", "--bench", name]
            way = broker.address if name == "barn" else None
            benches[name] = await stack.enter_async_context(
                simulated_bench(tmp_path / name, *words, duration_s=BURN_S, broker=way)
            )
        daemon = await stack.enter_async_context(
            daemon_process(data, *options, "--speed", f"{SPEED:g}", "--http", "127.0.0.1:0")
        )
        async with asyncio.TaskGroup() as group:
            for delay_s, name in enumerate(NAMES):
                group.create_task(burnt(daemon, benches[name], name, float(delay_s) / 4.0))
            await daemon.stores_more(300)
            code, out, _ = await said_by("status", "--data", str(data))
            assert code in (0, 7), out
            assert all(f"Bench {name}: " in out for name in NAMES)
            code, out, _ = await said_by("status", "--json", "--bench", "shed", "--data", str(data))
            assert [bench["bench"] for bench in json.loads(out)["benches"]] == ["shed"]
            code, _, why = await said_by("note", "which one?", "--data", str(data))
            assert (code, "say which of barn, shed, yard with --bench" in why) == (6, True)
            code, out, why = await said_by("watch", "--data", str(data))
            assert (code, out) == (6, ""), "a refusal is told alone"
            assert "say which of barn, shed, yard with --bench" in why
            code, out, _ = await said_by("note", "closed two holes", "--bench", "shed", "--data", str(data))
            assert (code, out) == (0, "Kept.\n")
        await summarised(data, 3)
        assert await daemon.stop() == 0
    store = StoreReader(data / STORE_NAME)
    trials = {trial.bench: trial for trial in store.trials()}
    assert len(store.trials()) == len(trials) == 3
    starts, ends = [one.start_ns for one in trials.values()], [one.end_ns or 0 for one in trials.values()]
    assert max(starts) < min(ends), "the burns do not overlap"
    for name in NAMES:
        check(benches[name], data, name, lost=False)
        assert set(check_replay(data, name)) >= EVENTS, name
        assert [note.text for note in store.notes(name)] == (["closed two holes"] if name == "shed" else [])


async def test_a_bench_whose_device_is_away_leaves_the_other_alone(tmp_path: Path) -> None:
    data = tmp_path / "data"
    async with simulated_bench(tmp_path / "yard", duration_s=120.0) as bench:
        options = [
            *("--bench", bench_file(tmp_path, "yard", f'[serial]\nport = "{tmp_path}/yard/port"')),
            *("--bench", bench_file(tmp_path, "shed", f'[serial]\nport = "{tmp_path}/nowhere"')),
        ]
        async with daemon_process(data, *options, "--speed", f"{SPEED:g}", "--no-http") as daemon:
            await daemon.stores_more(300)
            health = await daemon.health()
            assert health is not None
            states = {one["bench"]: one["recording"] for one in health["benches"]}
            assert states["shed"] == health["recording"] == "not recording"
            assert "plugged in" in health["why"]
            assert health["why"].startswith("shed: ")
            await bench.process.wait()
            assert await daemon.stop() == 0
    check(bench, data, "yard", lost=False)
