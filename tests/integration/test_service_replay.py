"""What a live run finds, an import of its exported samples finds too; a killed daemon goes on where it was."""

import asyncio
import contextlib
import json
import os
import random
import signal
import sys
from collections.abc import AsyncIterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from emberline import app
from emberline.service.control_client import ask
from emberline.service.errors import NoDaemonError, RequestError
from emberline.store.reader import StoreReader
from live_fixture import CHANNELS, DEVICE, DEVICE_NAMES, SimulatedBench, end_worker_threads, simulated_bench

if TYPE_CHECKING:
    from emberline.service.daemon import Daemon

LENGTH_S = 560.0
KILLS = int(os.environ.get("EMBERLINE_KILLS", "4"))
SEED = 20251125


@pytest.fixture(autouse=True)
async def no_worker_left() -> AsyncIterator[None]:
    yield
    await end_worker_threads()


async def burn_live(bench: SimulatedBench, data: Path) -> None:
    """Record the whole burn, armed with its plan, and end its trial."""

    async def beside(daemon: "Daemon") -> None:
        armed = False
        while bench.process.returncode is None:
            if not armed:
                with contextlib.suppress(RequestError):
                    await daemon.keeper.arm(bench.plan, None)
                    armed = True
            await asyncio.sleep(0.05)
        await daemon.finish_trial()

    await app.serve(data, port=str(bench.port), speed=60.0, beside=beside)


def imported(data: Path, folder: Path) -> Any:
    """Export the trial's raw samples, import them elsewhere with the same bench and plan, and return the summary."""
    store = StoreReader(data / app.STORE_NAME)
    trial = store.trials()[-1]
    folder.mkdir()
    for name, text in (("bench.toml", trial.bench_text), ("plan.toml", trial.plan_text)):
        (folder / name).write_text(text, encoding="utf-8")
    app.export_trial(data, trial.id, folder / "raw.csv", raw=True)
    columns = {"t_s": "t_s", "water": "water_c", "flame": "flame_c", "mass": "mass_g"}
    summary = app.import_burn(
        folder / "raw.csv",
        folder / "data",
        columns,
        plan_file=folder / "plan.toml",
        bench_file=folder / "bench.toml",
    )
    return summary.document


def what_happened(document: Any) -> Any:
    """Return what must agree whenever the samples came: events, results, and what is absent."""
    events = [{key: event[key] for key in event if key != "announced_t_s"} for event in document["events"]]
    return {"events": events, **{key: document[key] for key in ("results", "visits", "absent")}}


def what_was_said(document: Any) -> Any:
    """Return what must agree where the samples came as they were taken: the moments of all announcements."""
    return [event["announced_t_s"] for event in document["events"]], document["retracted"]


async def test_a_live_burn_and_an_import_of_its_samples_agree(tmp_path: Path) -> None:
    async with simulated_bench(tmp_path / "bench", duration_s=LENGTH_S) as bench:
        await burn_live(bench, tmp_path / "data")
    live = app.summary_of(tmp_path / "data", app.LAST).document
    kinds = [event["kind"] for event in live["events"]]
    assert kinds == ["lit", "pot_on", "boil", "pot_off", "flameout"]
    assert all(event["announced_t_s"] is not None for event in live["events"])
    again = imported(tmp_path / "data", tmp_path / "again")
    assert what_happened(again) == what_happened(live)
    assert what_was_said(again) == what_was_said(live)
    folder = tmp_path / "data" / "trials" / live["trial"]
    assert json.loads((folder / "summary.json").read_text(encoding="utf-8")) == live
    assert (folder / "summary.html").stat().st_size > 10_000


async def started(data: Path, bench: SimulatedBench) -> asyncio.subprocess.Process:
    program = str(Path(sys.executable).with_name("emberline"))
    options = ["run", "--data", str(data), "--port", str(bench.port), "--speed", "60", "--log", f"{data}.log"]
    return await asyncio.create_subprocess_exec(program, *options)


async def told(data: Path, request: dict[str, Any], limit_s: float = 20.0) -> dict[str, Any]:
    """Ask a daemon, again and again until it answers."""
    async with asyncio.timeout(limit_s):
        while True:
            try:
                return await asyncio.to_thread(ask, data, request)
            except (NoDaemonError, RequestError):
                await asyncio.sleep(0.05)


async def test_a_daemon_killed_at_random_moments_loses_nothing_and_finds_the_same(tmp_path: Path) -> None:
    chance = random.Random(SEED)
    data = tmp_path / "data"
    async with simulated_bench(tmp_path / "bench", duration_s=LENGTH_S) as bench:
        process = await started(data, bench)
        await told(data, {"do": "arm", "plan": bench.plan, "label": None})
        for _ in range(KILLS):
            await asyncio.sleep(chance.uniform(0.2, 6.0 / KILLS + 0.3))
            process.send_signal(signal.SIGKILL)
            await process.wait()
            process = await started(data, bench)
        await bench.process.wait()
        await told(data, {"do": "end"})
        process.send_signal(signal.SIGTERM)
        assert await process.wait() == 0
        store = StoreReader(data / app.STORE_NAME)
        (boot,) = bench.tally()["boots"]
        for channel in CHANNELS:
            sent = boot["streams"][DEVICE_NAMES.get(channel, channel)]["taken"]
            assert store.tally(DEVICE, boot["boot"], channel).stored == sent
    assert len(store.trials()) == 1
    live = app.summary_of(data, app.LAST).document
    assert [event["kind"] for event in live["events"]] == ["lit", "pot_on", "boil", "pot_off", "flameout"]
    assert what_happened(imported(data, tmp_path / "again")) == what_happened(live)
