"""The pages of a real daemon: malformed requests break nothing, and nothing is shown or logged that is secret."""

import asyncio
import contextlib
import re
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from benchmarks.http_fuzz.making import Maker, all_routes, leading_elsewhere
from benchmarks.http_fuzz.running import errors_in, run
from browser_fixture import pages_of
from daemon_fixture import daemon_process
from emberline.web.door import TOKEN_FILE

KNOWN = {"bench": ("bench",), "trial": ("2025-11-25-1",)}


@pytest.mark.timeout(240)
async def test_malformed_requests_break_nothing(tmp_path: Path) -> None:
    found = await run(tmp_path, 1_300, 20251125, lambda _: None)
    assert found.faults == []
    assert found.recording == "recording"
    assert {200, 303, 400, 403, 404, 405, 413, 422} <= found.statuses.keys()


def test_requests_are_the_same_from_the_same_seed() -> None:
    routes = all_routes()
    first, again, other = (Maker(seed, routes, 1, KNOWN) for seed in (1, 1, 2))
    made = [first.make() for _ in range(50)]
    assert made == [again.make() for _ in range(50)]
    assert made != [other.make() for _ in range(50)]


def test_every_parameter_of_every_route_is_tried() -> None:
    routes = all_routes()
    paths = {made.path for made in leading_elsewhere(routes, 1, KNOWN)}
    for route in routes:
        for name in route.param_convertors:
            pattern = route.path.replace(f"{{{name}}}", "(.+)")
            pattern = re.sub(r"\{\w+\}", "[^/]+", pattern)
            tried = [found[1] for path in paths if (found := re.fullmatch(pattern, path))]
            assert "..%2f..%2f..%2fsecret.txt" in tried, (route.path, name)


def test_what_a_log_tells_of_failures_is_found() -> None:
    log = "2025-11-25 12:00:00,1 INFO pages\n2025-11-25 12:00:01,1 ERROR GET '/' failed\nTraceback (…)\n  line\nE: x\n"
    assert errors_in(log) == ["2025-11-25 12:00:01,1 ERROR GET '/' failed\nTraceback (…)\n  line\nE: x"]


async def answered(port: int, head: str, *more: str) -> tuple[int, bytes]:
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    lines = [f"{head} HTTP/1.1", f"Host: 127.0.0.1:{port}", "Connection: close", "Content-Length: 0", *more]
    writer.write(("\r\n".join(lines) + "\r\n\r\n").encode())
    async with asyncio.timeout(30.0):
        whole = await reader.read()
    writer.close()
    with contextlib.suppress(ConnectionError):
        await writer.wait_closed()
    return int(whole.split(b" ", 2)[1]), whole


@pytest.mark.timeout(120)
async def test_without_the_token_nothing_answers_and_the_token_is_never_logged(tmp_path: Path) -> None:
    data = tmp_path / "data"
    # Another way to write 127.0.0.1, which is not known for this machine's own: so there is a door.
    options = ("--port", str(tmp_path / "no-device"), "--http", "127.1:0")
    with (tmp_path / "out").open("wb") as out:
        async with daemon_process(data, *options, out=out) as daemon:
            port = urlsplit(await pages_of(daemon.log)).port or 0
            token = (data / TOKEN_FILE).read_text().strip()
            for route in all_routes():
                path = re.sub(r"\{\w+\}", "bench", route.path)
                for method in {*(route.methods or ()), "POST"} - {"HEAD"}:
                    status, whole = await answered(port, f"{method} {path}")
                    assert (status, token.encode() in whole) == (401, False), (method, path)
            for wrong in (token[:-1], token + "x", token.swapcase(), ""):
                assert (await answered(port, f"GET /trials?token={wrong}"))[0] == 401
                assert (await answered(port, "GET /trials", f"Authorization: Bearer {wrong}"))[0] == 401
            status, whole = await answered(port, f"GET /trials?token={token}")
            assert (status, f"emberline-token={token}".encode() in whole) == (303, True)
            for known in (f"Cookie: emberline-token={token}", f"Authorization: Bearer {token}"):
                status, whole = await answered(port, "GET /trials", known)
                assert (status, token.encode() in whole) == (200, False)
                # Refused, unknown, malformed: what is told of these is logged, too.
                assert (await answered(port, "POST /inventory", known, "Origin: http://elsewhere"))[0] == 403
                assert (await answered(port, f"GET /nowhere?token={token}", known))[0] == 404
                await answered(port, f"BAD /trials?token={token}", known)
    said = [path.read_text() for path in (daemon.log, tmp_path / "out")]
    assert "was refused" in said[0]
    assert "emberline link" in said[1]
    assert [token in text for text in said] == [False, False]
