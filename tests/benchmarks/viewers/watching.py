"""Viewers of live pages, in a process of their own: how late each commit reaches each of them.

Usage: python watching.py URL SECONDS VIEWERS ASLEEP BENCH...

Prints JSON. Each viewer keeps one connection as a browser's EventSource does; those asleep open one and read nothing.
"""

import asyncio
import json
import re
import sys
import time
from dataclasses import dataclass, field
from urllib.parse import urlsplit

_COMMITTED = re.compile(rb'"committed_ns":(\d+)')
_STREAM_LIMIT = 1 << 22
_TRY_S = 0.2
_END_S = 20.0


@dataclass
class Seen:
    """What one viewer saw.

    Attributes:
        bench: The bench that it watched.
        late_s: From each commit to its arrival here.
        messages: Messages.
        breaks: How often its connection ended.
    """

    bench: str
    late_s: list[float] = field(default_factory=list)
    messages: int = 0
    breaks: int = 0


async def watch(url: str, seen: Seen, until_s: float) -> None:
    """Follow a bench's stream until a moment of the monotonic clock."""
    newest = 0
    while time.monotonic() < until_s:
        try:
            reader, writer = await _open(url, seen.bench)
        except OSError:
            await asyncio.sleep(_TRY_S)
            continue
        try:
            async with asyncio.timeout_at(asyncio.get_running_loop().time() + max(until_s - time.monotonic(), 0.0)):
                while line := await reader.readline():
                    found = _COMMITTED.search(line)
                    if found is None:
                        continue
                    seen.messages += 1
                    committed = int(found[1])
                    if committed > newest:
                        # The first message may tell of a commit that is long past.
                        if newest:
                            seen.late_s.append((time.time_ns() - committed) / 1e9)
                        newest = committed
                seen.breaks += 1
        except TimeoutError:
            pass
        finally:
            writer.close()


async def sleep(url: str, bench: str, until_s: float) -> None:
    """Ask for a bench's stream and read nothing of it."""
    _, writer = await _open(url, bench, room=1 << 12)
    writer.transport.pause_reading()  # type: ignore[attr-defined]
    await asyncio.sleep(max(until_s - time.monotonic(), 0.0))
    writer.transport.abort()


async def _open(url: str, bench: str, room: int = _STREAM_LIMIT) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    host, port = urlsplit(url).hostname or "", urlsplit(url).port
    reader, writer = await asyncio.open_connection(host, port, limit=room)
    writer.write(f"GET /bench/{bench}/stream HTTP/1.1\r\nHost: {host}\r\nAccept: text/event-stream\r\n\r\n".encode())
    await writer.drain()
    return reader, writer


async def main(url: str, seconds: float, viewers: int, asleep: int, benches: list[str]) -> dict[str, object]:
    """Watch, and return what was seen."""
    until_s = time.monotonic() + seconds
    all_seen = [Seen(benches[number % len(benches)]) for number in range(viewers)]
    async with asyncio.timeout(seconds + _END_S), asyncio.TaskGroup() as group:
        for seen in all_seen:
            group.create_task(watch(url, seen, until_s))
        for number in range(asleep):
            group.create_task(sleep(url, benches[number % len(benches)], until_s))
    return {
        "late_s": sorted(late for seen in all_seen for late in seen.late_s),
        "messages": sum(seen.messages for seen in all_seen),
        "breaks": sum(seen.breaks for seen in all_seen),
        "fewest_commits": min(len(seen.late_s) for seen in all_seen),
    }


if __name__ == "__main__":
    _url, _seconds, _viewers, _asleep, *_benches = sys.argv[1:]
    print(json.dumps(asyncio.run(main(_url, float(_seconds), int(_viewers), int(_asleep), _benches))))  # noqa: T201
