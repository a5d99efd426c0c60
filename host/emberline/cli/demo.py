"""`emberline demo`: a simulated bench burns a batch, and the daemon follows it over a port like any other."""

import asyncio
import contextlib
import sys
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from emberline.cli.telling import epilog, progress, telling

if TYPE_CHECKING:
    from emberline.service.daemon import Daemon

SCENARIO = "pellets_pot_lifted"
BENCH = "simulated"
SPEED = 60.0
START_LIMIT_S = 30.0
"""Longest wait for the simulated bench to be ready, real seconds; it computes the burn first."""
STOP_LIMIT_S = 3.0
DRAWN_EVERY_S = 0.1
ANY_PORT = "127.0.0.1:0"
"""Pages of a demo are served beside those of a real bench."""
PAGES_LIMIT_S = 2.0
MOST_FOLDERS = 99


@click.command(epilog=epilog("emberline demo", 4, 6))
@click.option(
    "--scenario",
    default=SCENARIO,
    show_default=True,
    metavar="NAME",
    help="`python -m emberline_sim --list` names them.",
)
@click.option(
    "--speed",
    type=click.FloatRange(1.0, 120.0),
    default=SPEED,
    show_default=True,
    metavar="TIMES",
    help="Seconds of the burn in a second.",
)
@click.option(
    "--data",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="A new folder for its data.  [default: emberline-demo, or the next such name that is free]",
)
@telling
def demo(scenario: str, speed: float, data: Path | None) -> None:
    """Watch a whole burn on a simulated bench.

    It takes about a minute and a half, and ends with its summary. Nothing is burnt and no device is needed: a simulated
    microcontroller sends its frames over a pseudo-terminal. All that is left behind is the data folder.
    """
    from emberline import app
    from emberline.cli.logs import log_to
    from emberline.cli.terminal import show_summary

    folder = _fresh_folder(data)
    show = _Demo(folder, scenario, speed)
    click.echo(f"A simulated burn ({scenario}) at {speed:g} times its pace; its data goes to {folder}")
    log_to(folder / "daemon.log")
    asyncio.run(show.run())
    if show.page is None:
        raise click.exceptions.Exit(1)
    show_summary(app.summary_of(folder, app.LAST))


def _fresh_folder(named: Path | None) -> Path:
    """Return a new, empty folder."""
    from emberline.app import OutputError

    endings = ("", *(f"-{count}" for count in range(2, MOST_FOLDERS + 1)))
    names = [named] if named is not None else [Path(f"emberline-demo{ending}") for ending in endings]
    for folder in names:
        if folder.is_dir() and not any(folder.iterdir()):
            return folder
        if not folder.exists():
            try:
                folder.mkdir(parents=True)
            except OSError as error:
                raise OutputError(f"cannot make the folder {folder}: {error.strerror or error}") from error
            return folder
    raise OutputError(f"{names[-1]} is not empty: name a new folder with --data")


@dataclass
class _Demo:
    folder: Path
    scenario: str
    speed: float
    page: str | None = None

    async def run(self) -> None:
        from emberline import app

        async with self._bench() as bench:
            if not await self._ready(bench):
                raise app.OutputError(f"the simulated bench did not start: see {self.folder / 'bench.log'}")
            await app.serve(
                self.folder,
                port=str(self.folder / "port"),
                speed=self.speed,
                name=BENCH,
                address=app.address_of(ANY_PORT),
                served=lambda url: click.echo(f"Watch it in a browser, too: {url}"),
                beside=lambda daemon: self._beside(daemon, bench),
            )

    @asynccontextmanager
    async def _bench(self) -> AsyncIterator[asyncio.subprocess.Process]:
        """Run the simulated bench as a process of its own; it does not outlive this block."""
        from emberline.service.processes import end_process

        command = ["-m", "emberline_sim", "--scenario", self.scenario, "--speed", str(self.speed)]
        command += ["--pty-link", str(self.folder / "port"), "--write-files", str(self.folder / "burn")]
        with (self.folder / "bench.log").open("wb") as log:
            # A session of its own: an interrupt from the keyboard ends the daemon first, and then this.
            process = await asyncio.create_subprocess_exec(
                sys.executable,
                *command,
                stdin=asyncio.subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        try:
            yield process
        finally:
            await end_process(process, STOP_LIMIT_S)

    async def _ready(self, bench: asyncio.subprocess.Process) -> bool:
        """Wait until the simulated bench has its port; return whether it has."""
        stop_s = time.monotonic() + START_LIMIT_S
        with progress(None) as stage:
            stage("simulating the burn")
            while not (self.folder / "port").exists():
                if bench.returncode is not None or time.monotonic() > stop_s:
                    return False
                await asyncio.sleep(DRAWN_EVERY_S)
        return True

    async def _beside(self, daemon: "Daemon", bench: asyncio.subprocess.Process) -> None:
        """Arm the trial with its plan, show it, and end it when the simulated bench has ended."""
        from emberline.cli.readout import Readout
        from emberline.service.errors import RequestError

        plan = (self.folder / "burn" / "plan.toml").read_text(encoding="utf-8")
        armed, index = False, 0
        lane = daemon.lanes[BENCH]
        with contextlib.suppress(TimeoutError):
            # What is printed comes before the readout, which draws over its own lines again and again.
            async with asyncio.timeout(PAGES_LIMIT_S):
                while daemon.health.address is None:
                    await lane.board.changed(lane.board.version, DRAWN_EVERY_S)
        with Readout() as readout:

            def show_events() -> None:
                nonlocal index
                said, index = lane.board.said_since(index)
                for document in said:
                    readout.show({"event": document})

            # The bench takes its port away and then ends; in between, a missing port is nothing to tell anybody of.
            while bench.returncode is None and (self.folder / "port").exists():
                if not armed:
                    with contextlib.suppress(RequestError):
                        await lane.keeper.arm(plan, None)
                        armed = True
                show_events()
                readout.show({"live": lane.board.document()})
                await asyncio.sleep(DRAWN_EVERY_S)
            self.page = await lane.finish_trial()
            show_events()
