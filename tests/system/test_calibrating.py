"""A bench calibrated as a person does it, with `emberline calibrate`, with the daemon that records it and without."""

import asyncio
import json
import sys
from pathlib import Path
from typing import Any

import pytest

from conversation_fixture import Conversation, conversation
from emberline.app.stored import STORE_NAME
from emberline.bench.findings import CellCheck
from emberline.bench.mass_fit import MassFit
from emberline.bench.probe_fit import ProbeFit
from emberline.store.reader import StoreReader
from guided_fixture import DURATION_S, HandledBench, handled_bench
from live_fixture import short_burn, until

SPEED = 30.0
"""Slow enough that a load lies for seconds when somebody looks again."""


async def weighs(bench: HandledBench, it: Conversation, laid_g: list[float]) -> None:
    """Do at the bench what the command asks for."""
    await it.hears("Take everything off")
    for mass_g in laid_g:
        await it.hears("Taken: ")
        bench.does("clear")
        bench.does(f"put {mass_g}")


@pytest.mark.timeout(240)
async def test_a_running_bench_is_calibrated_checked_and_an_older_trial_read_again(tmp_path: Path) -> None:
    async with handled_bench(tmp_path, speed=SPEED) as bench:
        data = str(bench.daemon.data)
        # A trial of nothing, recorded with the device's nominal calibration.
        trial = (await bench.daemon.told({"do": "arm", "plan": "", "label": None}))["trial"]
        async with conversation(
            "calibrate", "mass", "--masses", "0,800,400,0", "--sure-to", "0.1", "--data", data
        ) as it:
            assert await it.ends() == 6
            assert f"trial {trial} is open: end it first" in it.said
        await bench.daemon.told({"do": "end"})

        # The true masses are 0.5 % more than the nominal calibration shows.
        words = ("calibrate", "mass", "--masses", "0,800,400,0", "--sure-to", "0.1", "--by", "Ana", "--data", data)
        async with conversation(*words) as it:
            await weighs(bench, it, [804.0, 402.0, 0.0])
            assert await it.ends() == 0, it.said
            assert "Kept as calibration 1; it holds from now on." in it.said
        store = StoreReader(bench.daemon.data / STORE_NAME)
        (found,) = store.findings("bench")
        assert isinstance(found.found, MassFit)
        assert found.who == "Ana"
        assert abs(found.found.counts_per_g / (419.0 * 1.005) - 1.0) < 2.0 * found.found.u_span

        # It holds at once, for what is shown and for a check.
        bench.does("put 804")
        await bench.shows(800.0, 0.5)
        bench.does("clear")
        await bench.shows(0.0)
        async with conversation("calibrate", "check", "--mass", "500", "--sure-to", "0.1", "--data", data) as it:
            await weighs(bench, it, [502.5, 0.0])
            assert await it.ends() == 0, it.said
            assert "within what the calibration allows" in it.said
            assert "known_g = 500" in it.said
        assert isinstance(store.findings("bench")[-1].found, CellCheck)

        # The middle mass is another one than was typed.
        async with conversation("calibrate", "mass", "--masses", "0,800,400,0", "--data", data) as it:
            await weighs(bench, it, [804.0, 502.5, 0.0])
            assert await it.ends() == 2
            assert "the one typed as 400 g weighs 500.0 g" in it.said

        async with conversation("calibrate", "history", "--data", data) as it:
            assert await it.ends() == 0
            assert len(it.said.splitlines()) == 2
            assert it.said.startswith("*   1")

        before = await summary(bench, trial)
        assert before["calibrations"] == []
        async with conversation("calibrate", "apply", trial, "--data", data) as it:
            assert await it.ends() == 0, it.said
        after = await until_read_with(bench, trial, [1])
        assert after["calibrations"][0]["later"] is True
        assert any("with known masses later, on" in note["text"] for note in after["quality"])
        async with conversation("calibrate", "apply", trial, "--as-recorded", "--data", data) as it:
            assert await it.ends() == 0, it.said
        again = await until_read_with(bench, trial, [])
        assert again["results"] == before["results"]


async def summary(bench: HandledBench, trial: str) -> dict[str, Any]:
    """Return a trial's summary as soon as there is one."""
    store = StoreReader(bench.daemon.data / STORE_NAME)
    await until(lambda: store.summary(trial) is not None, "the summary", 60.0)
    kept = store.summary(trial)
    assert kept is not None
    found: dict[str, Any] = json.loads(kept.document)
    return found


async def until_read_with(bench: HandledBench, trial: str, numbers: list[int]) -> dict[str, Any]:
    """Return a trial's summary once its record was read with these calibrations."""
    store = StoreReader(bench.daemon.data / STORE_NAME)

    def read() -> bool:
        kept = store.summary(trial)
        if kept is None or not kept.version:
            return False
        return [one["number"] for one in json.loads(kept.document)["calibrations"]] == numbers

    await until(read, f"the summary read with {numbers}", 60.0)
    return await summary(bench, trial)


@pytest.mark.timeout(240)
async def test_a_bench_that_nobody_records_is_opened_for_its_probe(tmp_path: Path) -> None:
    scenario, port = tmp_path / "burn.toml", tmp_path / "port"
    text = short_burn(DURATION_S).replace("[channels.water]", "[channels.water]\nbias_c = -1.5", 1)
    assert "bias_c" in text
    await asyncio.to_thread(scenario.write_text, text, encoding="utf-8")
    words = ["-m", "emberline_sim", "--scenario", str(scenario), "--speed", str(SPEED), "--by-hand"]
    bench = await asyncio.create_subprocess_exec(
        sys.executable, *words, "--pty-link", str(port), stdin=asyncio.subprocess.PIPE
    )
    try:
        await until(lambda: port.exists() or bench.returncode is not None, "the simulated bench", 90.0)
        assert bench.stdin is not None
        data = str(tmp_path / "data")
        where = ("--port", str(port), "--speed", str(SPEED), "--data", data)
        baths = ("--bath", "ice", "--bath", "boiling", "--pressure-pa", "95000")
        async with conversation("calibrate", "probe", *baths, *where) as it:
            await it.hears("ice water")
            bench.stdin.write(b"bath 0\n")
            await it.hears("boiling water")
            bench.stdin.write(b"bath 98.30\n")
            assert await it.ends() == 0, it.said
            assert "Kept as calibration 1" in it.said
        (found,) = StoreReader(tmp_path / "data" / STORE_NAME).findings("bench")
        assert isinstance(found.found, ProbeFit)
        assert abs(found.found.correction_c - 1.5) < 2.0 * found.found.u_correction_c
    finally:
        bench.terminate()
        await bench.wait()
