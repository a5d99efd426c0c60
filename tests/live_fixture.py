"""A short simulated burn on a port, and a daemon on it: for tests of the live service."""

import asyncio
import contextlib
import json
import sys
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import pytest

SPEED = 60.0
LIT_S, LIT_TO_POT_S = 60.0, 90.0
DEVICE = "sim-bench-1"

_SHORT_BURN = """
title = "A handful of sticks under a cup of water"
story = "Short enough for a test: the pot on after a minute and a half, boiled in another, out after six."
seed = 11
duration_s = {duration_s}
[fuel]
form = "sticks"
mass_g = 60.0
moisture_wet = 0.10
lhv_dry_j_g = 18200.0
starter_g = 2.0
[burn]
lit_s = {lit_s}
extinction = 0.11
[pot]
tare_g = 198.0
heat_capacity_j_k = 90.0
coupling = 0.4
[[pot.visits]]
on_s = {pot_on_s}
off_after_boil_s = 40.0
water_g = 150.0
water_c = 19.0
[place]
ambient_c = 21.0
[channels.water]
[channels.flame]
bead_mm = 1.0
[channels.mass]
"""
CHANNELS = ("water", "flame", "mass", "water.cold_junction", "flame.cold_junction")
"""Names under which its streams are stored."""
DEVICE_NAMES = {"water.cold_junction": "water_cj", "flame.cold_junction": "flame_cj"}


@dataclass
class SimulatedBench:
    """A simulated bench that runs as a process of its own.

    Attributes:
        folder: Where its link and files are.
        process: Its process.
    """

    folder: Path
    process: asyncio.subprocess.Process

    @property
    def port(self) -> Path:
        return self.folder / "port"

    @property
    def ready(self) -> bool:
        """Whether it has its port, or has set out for its broker."""
        return self.port.exists() or "simulated bench: broker" in self.words()

    @property
    def plan(self) -> str:
        return (self.folder / "burn" / "plan.toml").read_text(encoding="utf-8")

    def tally(self) -> dict[str, Any]:
        tally: dict[str, Any] = json.loads((self.folder / "tally.json").read_text(encoding="utf-8"))
        return tally

    def words(self) -> str:
        return (self.folder / "bench.log").read_text(encoding="utf-8")


def short_burn(duration_s: float, lit_s: float = LIT_S) -> str:
    """Return the scenario of a short burn that is recorded for so long and lit at that time."""
    return _SHORT_BURN.format(duration_s=duration_s, lit_s=lit_s, pot_on_s=lit_s + LIT_TO_POT_S)


def _scenario(folder: Path, duration_s: float, lit_s: float) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "short_burn.toml"
    path.write_text(short_burn(duration_s, lit_s), encoding="utf-8")
    return path


def _log(folder: Path) -> BinaryIO:
    return (folder / "bench.log").open("wb")


@asynccontextmanager
async def simulated_bench(
    folder: Path,
    *options: str,
    duration_s: float = 780.0,
    speed: float = SPEED,
    broker: str | None = None,
    lit_s: float = LIT_S,
) -> AsyncIterator[SimulatedBench]:
    """Start a simulated bench, on a port or behind a broker, and wait until it is ready; end it afterwards."""
    scenario = _scenario(folder, duration_s, lit_s)
    command = ["-m", "emberline_sim", "--scenario", str(scenario), "--speed", str(speed)]
    command += ["--pty-link", str(folder / "port")] if broker is None else ["--mqtt", broker]
    command += ["--write-files", str(folder / "burn")]
    # However slow the machine is, the device is not switched off before its last samples are stored.
    command += ["--tally", str(folder / "tally.json"), "--linger", "300", *options]
    with _log(folder) as log:
        process = await asyncio.create_subprocess_exec(
            sys.executable, *command, stdin=asyncio.subprocess.DEVNULL, stdout=log, stderr=log
        )
    bench = SimulatedBench(folder, process)
    try:
        await until(lambda: bench.ready or process.returncode is not None, "the simulated bench", 90.0)
        assert process.returncode is None, bench.words()
        yield bench
    finally:
        with contextlib.suppress(ProcessLookupError):
            process.terminate()
        await process.wait()


async def end_worker_threads() -> None:
    """End the threads that `asyncio.to_thread` keeps, as `asyncio.run` would."""
    await asyncio.get_running_loop().shutdown_default_executor()


@pytest.fixture(autouse=True)
async def no_worker_left() -> AsyncIterator[None]:
    """End these threads after each test of a folder whose `conftest.py` takes this in."""
    yield
    await end_worker_threads()


async def until(condition: Callable[[], bool], what: str, limit_s: float = 60.0) -> None:
    """Wait for a condition that nothing announces, and fail with its name where it does not come."""
    try:
        async with asyncio.timeout(limit_s):
            while not condition():  # noqa: ASYNC110 what is waited for has no event of its own
                await asyncio.sleep(0.005)
    except TimeoutError:
        pytest.fail(f"waited in vain for {what}")
