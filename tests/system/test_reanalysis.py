"""`emberline reanalyse` in processes of its own: on a store, on an archive, and with a worker that is killed."""

import asyncio
import contextlib
import os
import signal
import sys
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

import stored_burn
from broker_fixture import free_port
from conversation_fixture import said_by
from daemon_fixture import EMBERLINE, children
from emberline import __version__
from emberline.app import STORE_NAME
from emberline.app.archiving import archiving
from emberline.store.archive import Archive, Archived
from emberline.store.store import Store

TRIALS = 6
LIMIT_S = 150.0

pytestmark = pytest.mark.timeout(400)


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A store with as many trials, of none of which anything is known yet; all of one burn, each a little shorter."""
    folder = tmp_path / "data"
    folder.mkdir()
    with Store.open(folder / STORE_NAME) as store:
        burn = stored_burn.recording(str(tmp_path))
        stored_burn.fill(store, burn)
        for number in range(TRIALS):
            trial = store.create_trial(
                bench=stored_burn.BENCH, start_ns=stored_burn.START_NS, plan_text=stored_burn.plan(burn)
            )
            store.end_trial(trial.id, stored_burn.START_NS + (780 - number) * stored_burn.SECOND_NS)
    return folder


def workers_of(pid: int) -> list[int]:
    """Return the processes below one that do the work."""
    found = []
    for child in children(pid):
        with contextlib.suppress(OSError):
            if b"spawn_main" in Path(f"/proc/{child}/cmdline").read_bytes():
                found.append(child)
        found += workers_of(child)
    return found


async def run(*words: str) -> tuple[int | None, str, str]:
    return await said_by("reanalyse", *words, limit_s=LIMIT_S)


async def run_and_kill_a_worker(archive: Archive) -> tuple[int, str]:
    """Kill one of the workers as soon as the first trial is done; return the exit code and what was said."""
    process = await asyncio.create_subprocess_exec(
        EMBERLINE, "reanalyse", "--archive", archive.location, stdout=asyncio.subprocess.PIPE
    )
    async with asyncio.timeout(LIMIT_S):
        while not (done := [one for one in archive.read_all() if one.summary is not None]):
            assert process.returncode is None, "it ended too soon"
            await asyncio.sleep(0.05)
        victim = workers_of(process.pid)[0]
        os.kill(victim, signal.SIGKILL)
        assert len(done) < TRIALS, "it had ended already"
        out, _ = await process.communicate()
    return process.returncode or 0, out.decode()


@contextlib.asynccontextmanager
async def cluster() -> AsyncIterator[str]:
    """Run a scheduler of Dask and a worker, as somebody would on two machines; yield the scheduler's address."""
    address = f"tcp://127.0.0.1:{free_port()}"
    ours = ("--host", "127.0.0.1", "--no-dashboard")
    words = (
        ("dask_scheduler", "--port", address.rpartition(":")[2], *ours),
        ("dask_worker", address, "--nthreads", "1", "--no-nanny", *ours),
    )
    async with contextlib.AsyncExitStack() as stack:
        for program, *options in words:
            process = await asyncio.create_subprocess_exec(
                sys.executable,
                *("-m", f"distributed.cli.{program}", *options),
                stdout=asyncio.subprocess.DEVNULL,
                stderr=asyncio.subprocess.DEVNULL,
            )
            stack.push_async_callback(process.wait)
            stack.callback(process.terminate)
        yield address


def results(found: list[Archived]) -> dict[str, str]:
    assert all(one.summary is not None and one.summary.version == __version__ for one in found)
    return {one.trial.id: one.summary.document for one in found if one.summary is not None}


async def test_a_store_and_an_archive_come_to_the_same_though_a_worker_is_killed(data: Path, tmp_path: Path) -> None:
    archive = Archive(str(tmp_path / "archive"))
    assert archiving(data, archive.location).run() == TRIALS
    assert await run_and_kill_a_worker(archive) == (
        0,
        f"{TRIALS} trials worked out, 0 were done by this version already\n",
    )
    code, out, err = await run("--data", str(data))
    assert (code, out) == (0, f"{TRIALS} trials worked out, 0 were done by this version already\n"), err
    with Store.open(data / STORE_NAME) as store:
        kept = {trial.id: store.summary(trial.id) for trial in store.trials()}
    assert results(archive.read_all()) == {name: one and one.document for name, one in kept.items()}
    assert not list((tmp_path / "archive").rglob("*.unfinished"))
    before = results(archive.read_all())
    code, out, _ = await run("--archive", archive.location)
    assert (code, out) == (0, f"0 trials worked out, {TRIALS} were done by this version already\n")
    on_cluster = ("--archive", archive.location, "--again", "--scheduler")
    async with cluster() as scheduler:
        code, out, err = await run(*on_cluster, scheduler)
        assert (code, out) == (0, f"{TRIALS} trials worked out, 0 were done by this version already\n"), err
    assert results(archive.read_all()) == before
    code, _, err = await run(*on_cluster, scheduler)
    assert (code, f"no scheduler of Dask answers at {scheduler}" in err) == (6, True), err
