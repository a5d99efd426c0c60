"""What every test is held to: no thread, task or unseen failure outlives the test that caused it."""

import asyncio
import inspect
import logging
import os
import threading
import time
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest

GRACE_S = 5.0
"""How long a thread that was told to stop may take, on a busy machine."""

OPEN_DATA = "EMBERLINE_OPEN_DATA"


@pytest.fixture(autouse=True)
def no_thread_left() -> Iterator[None]:
    """Fail a test that leaves a thread running, daemon threads included: they keep ports and files open."""
    before = set(threading.enumerate())
    yield
    deadline_s = time.monotonic() + GRACE_S
    started = [thread for thread in threading.enumerate() if thread not in before]
    for thread in started:
        thread.join(max(0.0, deadline_s - time.monotonic()))
    left = sorted(thread.name for thread in started if thread.is_alive())
    if left:
        pytest.fail(f"threads left running: {', '.join(left)}")


@pytest.fixture
async def no_task_left() -> AsyncIterator[None]:
    """Fail a test that leaves a task pending: the loop's end would cancel it without a word."""
    before = asyncio.all_tasks()
    yield
    here = asyncio.current_task()
    left = sorted(task.get_name() for task in asyncio.all_tasks() - before if task is not here)
    if left:
        pytest.fail(f"tasks left pending: {', '.join(left)}")


@pytest.fixture(autouse=True)
def nothing_unseen() -> Iterator[None]:
    """Fail a test in which asyncio reports a failure that nobody awaited: it logs these and goes on."""
    reports: list[str] = []

    class Listener(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            reports.append(self.format(record))

    listener = Listener(logging.ERROR)
    logger = logging.getLogger("asyncio")
    logger.addHandler(listener)
    yield
    logger.removeHandler(listener)
    if reports:
        pytest.fail("asyncio reported:\n" + "\n".join(reports))


@pytest.fixture(scope="session")
def open_data() -> Path:
    """Return the folder of burns that others measured and published, or skip the test with the reason."""
    return open_data_folder()


def open_data_folder() -> Path:
    """Return what the environment names, which must be a folder; where it names nothing, skip the test."""
    folder = os.environ.get(OPEN_DATA)
    if not folder:
        pytest.skip(f"{OPEN_DATA} is not set: DEVELOPERS.md says where the published burns can be had")
    path = Path(folder)
    if not path.is_dir():
        pytest.fail(f"{OPEN_DATA} names {folder}, which is no folder")
    return path


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Hold every asynchronous test to `no_task_left`; first in, so that it looks after all other fixtures ended."""
    for item in items:
        if isinstance(item, pytest.Function) and inspect.iscoroutinefunction(item.obj):
            item.fixturenames.insert(0, no_task_left.__name__)
