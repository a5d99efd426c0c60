"""`run`, `watch`, `arm`, `note` and `end`, each as a process of its own."""

import asyncio
import contextlib
import signal
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from conversation_fixture import said_by
from daemon_fixture import EMBERLINE
from emberline import app
from emberline.bench.plan import parse_plan
from emberline.store.reader import StoreReader
from live_fixture import SimulatedBench, simulated_bench


@asynccontextmanager
async def daemon_on(bench: SimulatedBench, data: Path) -> AsyncIterator[asyncio.subprocess.Process]:
    options = ["--data", str(data), "--port", str(bench.port), "--speed", "60", "--log", f"{data}.log"]
    process = await asyncio.create_subprocess_exec(EMBERLINE, "run", *options)
    try:
        yield process
    finally:
        with contextlib.suppress(ProcessLookupError):
            process.send_signal(signal.SIGTERM)
        async with asyncio.timeout(15.0):
            await process.wait()


async def until_granted(*words: str) -> str:
    async with asyncio.timeout(30.0):
        while True:
            code, out, _ = await said_by(*words)
            if code == 0:
                return out
            await asyncio.sleep(0.1)


async def test_a_trial_is_armed_watched_remarked_on_and_ended_from_other_terminals(tmp_path: Path) -> None:
    data = tmp_path / "data"
    async with simulated_bench(tmp_path / "bench", duration_s=1200.0) as bench, daemon_on(bench, data) as daemon:
        plan = str(tmp_path / "bench" / "burn" / "plan.toml")
        armed = await until_granted("arm", "--plan", plan, "--data", str(data))
        assert "is open" in armed
        assert "carbon monoxide" in armed
        watching = await asyncio.create_subprocess_exec(
            EMBERLINE, "watch", "--data", str(data), stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE
        )
        assert watching.stdout is not None
        async with asyncio.timeout(20.0):
            lines = [(await watching.stdout.readline()).decode() for _ in range(2)]
        assert lines[0].startswith("Caution")
        assert lines[1].startswith("[recording]")
        watching.send_signal(signal.SIGINT)
        _, words = await watching.communicate()
        assert words.decode() == "Watching has ended; the recording goes on.\n"
        assert watching.returncode == 1

        assert (await said_by("note", "closed two air holes", "--data", str(data)))[:2] == (0, "Kept.\n")
        code, _, why = await said_by("arm", "--plan", plan, "--data", str(data))
        assert (code, "has its plan" in why) == (6, True)
        code, _, why = await said_by("run", "--data", str(data), "--port", str(bench.port))
        assert (code, "another program" in why) == (4, True)

        code, out, _ = await said_by("end", "--data", str(data))
        assert (code, "has ended" in out) == (0, True)
        assert (await said_by("end", "--data", str(data)))[0] == 6
        daemon.send_signal(signal.SIGTERM)
        assert await daemon.wait() == 0
    store = StoreReader(data / app.STORE_NAME)
    (trial,) = store.trials()
    assert trial.end_ns is not None
    assert [note.text for note in store.notes("bench")] == ["closed two air holes"]
    code, out, _ = await said_by("summary", "last", "--data", str(data))
    assert code == 0
    assert trial.id in out


async def test_a_series_is_planned_and_taken_up_while_the_daemon_holds_the_store(tmp_path: Path) -> None:
    data = tmp_path / "data"
    planned = ("order", "holes-1", "--factor", "holes=8,12", "--blocks", "2", "--seed", "7", "--data", str(data))
    async with simulated_bench(tmp_path / "bench", duration_s=560.0) as bench, daemon_on(bench, data):
        plan = str(tmp_path / "bench" / "burn" / "plan.toml")
        assert "It ends after 2 burns of each condition." in await until_granted(*planned)
        code, _, why = await said_by(*planned)
        assert code == 6
        assert "planned already" in why
        armed = await until_granted("arm", "--series", "holes-1", "--plan", plan, "--data", str(data))
        assert armed.startswith("Run 1 of holes-1: holes ")
        code, shown, _ = await said_by("order", "holes-1", "--data", str(data))
        assert "Next: run 2" in shown
    (trial,) = StoreReader(data / app.STORE_NAME).trials()
    kept = parse_plan(trial.plan_text)
    assert (kept.series, kept.run) == ("holes-1", 1)
    assert kept.fuel.mass_g is not None


@pytest.mark.parametrize("command", [["watch"], ["arm"], ["end"], ["note", "x"]])
async def test_without_a_daemon_each_says_how_to_start_one(tmp_path: Path, command: list[str]) -> None:
    code, _, why = await said_by(*command, "--data", str(tmp_path / "data"))
    assert code == 6
    assert "emberline run --data" in why
    assert "Traceback" not in why


async def test_arming_with_a_bad_plan_is_refused_before_the_daemon_is_asked(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text("[fuel]\nmoisture_wet = 11.0\n")
    code, _, why = await said_by("arm", "--plan", str(tmp_path / "plan.toml"), "--data", str(tmp_path / "data"))
    assert code == 2
    assert "percentage" in why


async def test_a_run_without_a_port_says_what_is_missing(tmp_path: Path) -> None:
    code, _, why = await said_by("run", "--data", str(tmp_path / "data"))
    assert code == 2
    assert "--port" in why
