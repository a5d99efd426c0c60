"""A daemon that records a simulated bench, and requests that come at it from all sides."""

import asyncio
import contextlib
import re
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import AsyncExitStack
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

from benchmarks.http_fuzz.making import SECRET, SECRET_FILE, Made, Maker, all_routes, leading_elsewhere
from browser_fixture import pages_of
from daemon_fixture import daemon_process
from emberline.app.importing import import_burn
from live_fixture import simulated_bench
from unit.app.small_burn import burn

AT_ONCE = 32
ANSWER_LIMIT_S = 60.0
"""Pictures and packs are made in a process of their own, one after the other."""
UNFINISHED_S = 0.5
"""So long an answer is waited for where the request may have no end."""
MOST_BYTES = 4_000_000
BENCH = "bench"
_ENTRY = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d")


@dataclass
class Found:
    """What came back.

    Attributes:
        statuses: How often each status was answered; 0 for a connection that ended without an answer.
        faults: What may not be: failures, answers that never came, and what nobody may see.
        recording: How the recording stands in the end.
        stored: Samples that were stored while requests came in.
    """

    statuses: Counter[int] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    recording: str = ""
    stored: int = 0


async def run(folder: Path, count: int, seed: int, say: Callable[[str], object]) -> Found:
    """Ask so many things of a daemon, and read its log afterwards."""
    data = folder / "data"
    (folder / "burn.csv").write_text(burn())
    trial = await asyncio.to_thread(import_burn, folder / "burn.csv", data)
    for place in (folder, data, data / "trials"):
        (place / SECRET_FILE).write_text(f"{SECRET}\n")
    async with AsyncExitStack() as stack:
        bench = await stack.enter_async_context(simulated_bench(folder / "bench", duration_s=36_000.0, speed=10.0))
        options = ("--port", str(bench.port), "--speed", "10", "--http", "127.0.0.1:0")
        daemon = await stack.enter_async_context(daemon_process(data, *options))
        url = await pages_of(daemon.log)
        await daemon.told({"do": "arm", "plan": "", "label": None})
        before = await daemon.stored()
        running = (await daemon.told({"do": "live"}))["live"]["trial"]
        known = {"bench": (BENCH,), "trial": (trial.trial.id, str(running))}
        port = urlsplit(url).port or 0
        routes = all_routes()
        asked = leading_elsewhere(routes, port, known)[:count]
        say(f"{len(asked)} attempts to read what lies elsewhere, then others, at {url}")
        maker = Maker(seed, routes, port, known)
        asked += [maker.make() for _ in range(count - len(asked))]
        found = await ask_all(port, asked, say)
        await daemon.stores_more(before)
        health = await daemon.health()
        assert health is not None
        found.recording = health["recording"]
        found.stored = await daemon.stored() - before
        await daemon.stop()
    found.faults += errors_in(daemon.log.read_text(encoding="utf-8"))
    return found


def errors_in(log: str) -> list[str]:
    """Return what a daemon's log tells of its own failures, each with its traceback."""
    told: list[list[str]] = []
    for line in log.splitlines():
        entry = _ENTRY.match(line)
        if entry or not told:
            told.append([line])
        else:
            told[-1].append(line)
    return ["\n".join(lines) for lines in told if " ERROR " in lines[0] or len(lines) > 1]


async def ask_all(port: int, asked: Sequence[Made], say: Callable[[str], object]) -> Found:
    """Ask all of it, some at once, and put down what comes back."""
    found, waiting = Found(), list(reversed(list(enumerate(asked, 1))))

    async def some() -> None:
        while waiting:
            number, made = waiting.pop()
            status, body = await _answer(port, made)
            found.statuses[status] += 1
            fault = _fault(made, status, body)
            if fault:
                found.faults.append(f"request {number}, {fault}: {made.words}\n  {made.raw[:600]!r}")
            if number % 1_000 == 0:
                say(f"{number} asked")

    async with asyncio.TaskGroup() as group:
        for _ in range(AT_ONCE):
            group.create_task(some())
    return found


def _fault(made: Made, status: int, body: bytes) -> str:
    """Return what is wrong with an answer; empty if nothing is."""
    # The health page says so to watchdogs by its status, and means it.
    if status >= 500 and not (status == 503 and made.path.startswith("/health")):
        return f"answered {status}"
    if status == 0 and made.whole:
        return "not answered"
    if SECRET.encode() in body or b"SQLite format 3" in body:
        return "showed what lies elsewhere"
    return ""


async def _answer(port: int, made: Made) -> tuple[int, bytes]:
    """Return the status, 0 where none came, and the beginning of what followed."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    head, body = b"", b""
    try:
        async with asyncio.timeout(ANSWER_LIMIT_S if made.whole else UNFINISHED_S):
            with contextlib.suppress(ConnectionError):
                writer.write(made.raw)
                await writer.drain()
            head = await reader.readuntil(b"\r\n\r\n")
            if b"text/event-stream" not in head:
                body = await reader.read(MOST_BYTES)
                while len(body) < MOST_BYTES and (more := await reader.read(65_536)):
                    body += more
    except (TimeoutError, ConnectionError, asyncio.IncompleteReadError):
        pass
    finally:
        writer.close()
        with contextlib.suppress(ConnectionError, BrokenPipeError):
            await writer.wait_closed()
    words = head.split(b" ", 2)
    return (int(words[1]) if len(words) > 2 else 0), body
