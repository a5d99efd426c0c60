"""A whole burn: physics, converter chips, the firmware's own binary, its serial port, the daemon, the summary.

The same burn is recorded beside it by way of the simulated device, and the two summaries have to agree.
"""

import asyncio
import json
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from conservation import account, check
from daemon_fixture import DaemonProcess, daemon_process
from emberline.app import STORE_NAME
from emberline.store.reader import StoreReader
from emulated_fixture import Parts
from live_fixture import DEVICE, SimulatedBench, short_burn, simulated_bench, until

pytestmark = pytest.mark.timeout(500)

PACES, MOST_BEHIND_S = (20.0, 10.0, 4.0), 2.0
"""Seconds of the burn in a second, the slower where a busy machine was further behind than so many of the burn's."""
LIT_S, LENGTH_S = 40.0, 470.0
WRAP_S, LEAD_OPEN_S, BROWN_OUT_S = 100.0, (160.0, 170.0), 300.0
"""The pot goes on at 130 s, its water boils at about 195 s, and the flame is out at about 405 s."""
EVENTS = ["lit", "pot_on", "boil", "pot_off", "flameout"]
K = 2.0
"""Coverage factor of about 95 % (JCGM 100:2008, 6.3.3)."""

CHIPS = {"WATER_CHIP": 31855, "FLAME_CHIP": 31856}
BENCH = """
id = "{name}"
[[channel]]
role = "water"
[channel.thermocouple]
kind = "K"
[[channel]]
role = "flame"
[[channel]]
role = "mass"
[channel.line]
zero_counts = 84213
counts_per_unit = 419.0
[serial]
port = "{port}"
baud = 57600
"""


def scenario(folder: Path) -> Path:
    """Write the burn, as finely as either chip can tell, with a water probe whose lead opens for a while."""
    start_s, end_s = LEAD_OPEN_S
    lead = f'[[channels.water.faults]]\nkind = "open"\nfrom_s = {start_s}\nto_s = {end_s}\n'
    probes = 'converter = "fine"\nrate_hz = 10.0\n'
    text = short_burn(LENGTH_S, LIT_S)
    text = text.replace("[channels.water]\n", f"[channels.water]\n{probes}{lead}")
    text = text.replace("[channels.flame]\n", f"[channels.flame]\n{probes}")
    path = folder / "burn.toml"
    path.write_text(text, encoding="utf-8")
    return path


@asynccontextmanager
async def emulated_bench(parts: Parts, folder: Path, burn: Path, speed: float) -> AsyncIterator[SimulatedBench]:
    """Start it, and wait until it has its port; end it afterwards."""
    lines = folder / "lines"
    words = ["--scenario", burn, "--brown-out", BROWN_OUT_S, "--write-files", folder / "burn", "--to", lines]
    chips = await asyncio.create_subprocess_exec(sys.executable, "-m", "emberline_sim.chips", *map(str, words))
    assert await chips.wait() == 0
    firmware = parts.firmware(DEVICE_ID=DEVICE, **CHIPS)
    words = ["--firmware", firmware, "--port", folder / "port", "--speed", speed, "--wrap-after", WRAP_S]
    words += ["--water", CHIPS["WATER_CHIP"], "--flame", CHIPS["FLAME_CHIP"], "--linger", 2_000]
    words += ["--tally", folder / "tally.json"]
    with lines.open("rb") as feed, (folder / "bench.log").open("wb") as log:
        process = await asyncio.create_subprocess_exec(parts.emulator, *map(str, words), stdin=feed, stderr=log)
    bench = SimulatedBench(folder, process)
    try:
        await until(lambda: bench.port.exists() or process.returncode is not None, "the emulated bench")
        assert process.returncode is None, bench.words()
        yield bench
    finally:
        if process.returncode is None:
            process.terminate()
        await process.wait()


def bench_file(folder: Path, name: str) -> str:
    path = folder / f"{name}.toml"
    path.write_text(BENCH.format(name=name, port=folder / name / "port"), encoding="utf-8")
    return str(path)


async def burnt(daemon: DaemonProcess, bench: SimulatedBench, name: str) -> None:
    """Arm a bench's trial, let it burn, and end it."""
    await daemon.told({"do": "arm", "bench": name, "plan": bench.plan, "label": None}, 90.0)
    await bench.process.wait()
    await daemon.told({"do": "end", "bench": name}, 90.0)


@dataclass(frozen=True)
class Recorded:
    """Two benches' records of one burn.

    Attributes:
        store: Where both are.
        board: The bench with the emulated board.
        device: The one with the simulated device.
    """

    store: StoreReader
    board: SimulatedBench
    device: SimulatedBench

    def summary(self, bench: str) -> dict[str, Any]:
        trial = next(trial for trial in self.store.trials() if trial.bench == bench)
        kept = self.store.summary(trial.id)
        assert kept is not None
        document: dict[str, Any] = json.loads(kept.document)
        return document


async def recorded(parts: Parts, folder: Path, speed: float) -> Recorded:
    """Record a burn by one daemon with both benches, and have conservation hold for both."""
    (folder / "board").mkdir(parents=True)
    burn, data = scenario(folder), folder / "data"
    words = ("--speed", f"{speed:g}", "--no-http")
    files = ("--bench", bench_file(folder, "board"), "--bench", bench_file(folder, "device"))
    options = ("--ring", "1200", "--scenario", str(burn))
    async with (
        emulated_bench(parts, folder / "board", burn, speed) as board,
        simulated_bench(folder / "device", *options, speed=speed) as device,
        daemon_process(data, *files, *words) as daemon,
    ):
        await daemon.answers()
        async with asyncio.TaskGroup() as group:
            group.create_task(burnt(daemon, board, "board"))
            group.create_task(burnt(daemon, device, "device"))
        assert (board.process.returncode, device.process.returncode) == (0, 0), board.words() + device.words()
        store = StoreReader(data / STORE_NAME)
        await until(
            lambda: all(store.summary(trial.id) is not None for trial in store.trials()), "both summaries", 120.0
        )
        assert await daemon.stop() == 0
    check(device, data, "device", lost=False)
    found = account(board, data, "board")
    assert (found.unaccounted, found.doubled, found.unnamed, found.boots) == (0, 0, 0, 2), found
    assert found.unheard <= 60, f"more than was on the line as the supply dropped: {found}"
    return Recorded(store, board, device)


async def test_a_burn_by_way_of_real_firmware_agrees_with_the_simulated_device(parts: Parts, tmp_path: Path) -> None:
    for speed in PACES:
        both = await recorded(parts, tmp_path / f"{speed:g}", speed)
        tally = both.board.tally()
        check_chips(tally)
        # A board whose core stands still has a clock that stands still, as no true one has.
        if tally["furthest_behind_s"] <= MOST_BEHIND_S:
            check_lead(both.store)
            check_same_burn(both.summary("board"), both.summary("device"))
            return
    pytest.fail("this machine is too busy to emulate a core at any of these paces")


def check_same_burn(board: dict[str, Any], device: dict[str, Any]) -> None:
    """Have events and results agree within their uncertainties."""
    times = []
    for summary in (board, device):
        events = {event["kind"]: event for event in summary["events"] if event["kind"] in EVENTS}
        assert list(events) == EVENTS, summary["events"]
        times.append(events)
    for kind in EVENTS[1:]:
        after_s = [events[kind]["t_s"] - events["lit"]["t_s"] for events in times]
        u_s = np.hypot(*(np.hypot(events[kind]["u_s"], events["lit"]["u_s"]) for events in times))
        assert abs(after_s[0] - after_s[1]) <= K * u_s, kind
    for name in (
        "time_to_boil",
        "burn_time",
        "fuel_mass_lost",
        "burning_rate_mean",
        "firepower_mean",
        "thermal_efficiency",
    ):
        one, other = board["results"][name], device["results"][name]
        assert abs(one["value"] - other["value"]) <= K * np.hypot(one["u"], other["u"]), name


def check_chips(tally: dict[str, Any]) -> None:
    """Have each conversion be read, and no part of the board be strained."""
    assert tally["bridge_powered_down"] == 0
    assert tally["bridge_longest_pulse_us"] < 10.0
    assert tally["stack_bytes_untouched"] >= 64
    taken = sum(boot["streams"]["mass"]["taken"] for boot in tally["boots"])
    assert taken == tally["bridge_readings"]
    assert tally["bridge_conversions"] - taken <= 20, "but for those while it was starting anew"


def check_lead(store: StoreReader) -> None:
    """Have the open lead be flagged in what is stored, for as long as it was open, and nowhere else."""
    batches = [batch for batch in store.batches("board") if batch.channel == "water"]
    flagged = np.concatenate([batch.t_ns[batch.flags != 0] for batch in batches])
    length_s = LEAD_OPEN_S[1] - LEAD_OPEN_S[0]
    assert (flagged[-1] - flagged[0]) * 1e-9 == pytest.approx(length_s, abs=1.0)
    assert len(flagged) == pytest.approx(4.0 * length_s, abs=4.0)
