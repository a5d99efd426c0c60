import os
import sys
import time

import pytest

from emberline.service.apart import NICENESS, Apart
from emberline.service.errors import ApartError
from live_fixture import until


class Worker:
    """What runs apart in these tests."""

    def __init__(self, base: int) -> None:
        self.base = base

    def add(self, number: int) -> int:
        self.base += number
        return self.base

    def pid(self) -> int:
        return os.getpid()

    def place(self) -> tuple[int, int, int]:
        return os.getsid(0), os.getpgrp(), os.nice(0)

    def fail(self) -> None:
        raise ValueError("no such luck")

    def chatter(self) -> str:
        print("a library's remark")  # noqa: T201 what this test is about
        sys.stdout.flush()
        return "answer"

    def die(self) -> None:
        os._exit(3)

    def sleep(self) -> None:
        time.sleep(60.0)


def worker(base: int = 0) -> Apart:
    return Apart(_make, base, name="worker")


def _make(base: int) -> Worker:
    return Worker(base)


@pytest.fixture(autouse=True)
def importable(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the process apart import this module by its name."""
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(path for path in sys.path if path))


async def test_it_is_nicer_where_that_counts_and_out_of_reach_of_the_keyboard() -> None:
    # Linux weighs sessions against each other before it looks at niceness (sched(7), "The autogroup feature"): in a
    # session of its own, the process took as much of a full machine as the program that stores the readings.
    apart = worker()
    await apart.start()
    session, group, niceness = await apart.call("place", limit_s=30.0)
    await apart.close()
    assert session == os.getsid(0)
    assert group != os.getpgrp()
    assert niceness == min(19, os.nice(0) + NICENESS)


async def test_calls_reach_one_object_in_another_process() -> None:
    apart = worker(40)
    await apart.start()
    await apart.start()
    assert await apart.call("add", 2, limit_s=30.0) == 42
    assert await apart.call("add", 1, limit_s=30.0) == 43
    assert await apart.call("pid", limit_s=30.0) != os.getpid()
    await apart.close()
    await apart.close()


async def test_an_error_comes_back_in_words_and_the_object_lives_on() -> None:
    apart = worker(1)
    await apart.start()
    with pytest.raises(ApartError, match="worker failed: ValueError: no such luck"):
        await apart.call("fail", limit_s=30.0)
    assert await apart.call("add", 1, limit_s=30.0) == 2
    await apart.close()


async def test_what_a_library_prints_does_not_get_between_the_answers() -> None:
    apart = worker()
    await apart.start()
    assert await apart.call("chatter", limit_s=30.0) == "answer"
    await apart.close()


async def test_a_process_that_dies_is_reported_and_can_be_started_anew() -> None:
    apart = worker(5)
    await apart.start()
    with pytest.raises(ApartError, match="is gone"):
        await apart.call("die", limit_s=30.0)
    await apart.start()
    assert await apart.call("add", 1, limit_s=30.0) == 6
    await apart.close()


async def test_an_answer_that_takes_too_long_is_given_up_and_never_taken_for_the_next() -> None:
    apart = worker(1)
    await apart.start()
    pid = await apart.call("pid", limit_s=30.0)
    with pytest.raises(ApartError, match="took longer"):
        await apart.call("sleep", limit_s=0.05)
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)
    with pytest.raises(ApartError, match="not started"):
        await apart.call("add", 1, limit_s=1.0)


async def test_the_process_ends_with_its_input() -> None:
    apart = worker()
    await apart.start()
    await apart.call("pid", limit_s=30.0)
    process = apart._process
    assert process is not None
    assert process.stdin is not None
    process.stdin.close()
    await until(lambda: process.returncode is not None, "the end of the process")
    assert process.returncode == 0
    await apart.close()
