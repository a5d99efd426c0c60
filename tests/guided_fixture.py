"""A simulated bench that is handled on command, and a daemon on it: for tests of guided burns."""

import asyncio
import contextlib
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from daemon_fixture import DaemonProcess, daemon_process
from live_fixture import short_burn, until

SPEED = 60.0
STOVE_G, FUEL_G, STARTER_G = 640.0, 60.0, 2.0
POT_G, WATER_G = 198.0, 150.0
"""What the short burn is made of, see `live_fixture`."""
DURATION_S = 620.0


@dataclass
class HandledBench:
    """A simulated bench, and the daemon that records it.

    Attributes:
        process: The bench.
        daemon: The daemon.
    """

    process: asyncio.subprocess.Process
    daemon: DaemonProcess

    def does(self, command: str) -> None:
        """Do something at the bench."""
        assert self.process.stdin is not None
        self.process.stdin.write(command.encode() + b"\n")

    async def guide(self) -> dict[str, Any]:
        """Return the guide's screen."""
        screen: dict[str, Any] = (await self.daemon.told({"do": "guide"}))["guide"]
        return screen

    async def shows(self, mass_g: float, off_g: float = 2.0, limit_s: float = 30.0) -> None:
        """Wait until the scale shows a load."""
        try:
            async with asyncio.timeout(limit_s):
                while True:
                    values = (await self.daemon.told({"do": "live"}))["live"]["values"]
                    if abs((values.get("mass", {}).get("value") or 1e9) - mass_g) < off_g:
                        return
                    await asyncio.sleep(0.05)
        except TimeoutError:
            raise AssertionError(f"the scale never showed {mass_g:g} g") from None


@asynccontextmanager
async def handled_bench(folder: Path, *options: str, speed: float = SPEED) -> AsyncIterator[HandledBench]:
    """Run a bench that is handled on command and a daemon that records it; end both afterwards.

    Args:
        folder: For data, port and logs.
        options: Further words for `emberline run`.
        speed: Seconds of the bench in a second.
    """
    await asyncio.to_thread(folder.mkdir, parents=True, exist_ok=True)
    scenario, port = folder / "short_burn.toml", folder / "port"
    await asyncio.to_thread(scenario.write_text, short_burn(DURATION_S), encoding="utf-8")
    command = ["-m", "emberline_sim", "--scenario", str(scenario), "--speed", str(speed), "--by-hand"]
    with (folder / "bench.log").open("wb") as log:
        process = await asyncio.create_subprocess_exec(
            sys.executable, *command, "--pty-link", str(port), stdin=asyncio.subprocess.PIPE, stdout=log, stderr=log
        )
    try:
        await until(lambda: port.exists() or process.returncode is not None, "the simulated bench", 90.0)
        words = ("--port", str(port), "--speed", str(speed), *options)
        async with daemon_process(folder / "data", *words) as daemon:
            bench = HandledBench(process, daemon)
            await bench.shows(0.0)
            yield bench
    finally:
        if process.stdin is not None:
            process.stdin.close()
        with contextlib.suppress(ProcessLookupError):
            process.terminate()
        await process.wait()
