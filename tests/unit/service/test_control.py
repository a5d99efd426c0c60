import asyncio
import json
import socket
import stat
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from emberline.service import control as module
from emberline.service.board import Board
from emberline.service.clock import Clock
from emberline.service.control import MAX_NOTE, MAX_VIEWERS, Control, read_request
from emberline.service.control_client import ask, watch
from emberline.service.control_place import socket_path
from emberline.service.errors import ApartError, NoDaemonError, RequestError
from emberline.service.guide import Guides
from emberline.service.health import HealthWatch
from emberline.service.intake import IngestCounts
from emberline.store.errors import SeriesKnownError, StoreFullError
from emberline.store.store import Store
from emberline.trials.alarms import AlarmKind
from live_fixture import until


class Trials:
    """Grants what it is asked, and notes it."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, ...]] = []

    async def arm(self, plan_text: str, label: str | None) -> str:
        if "bad" in plan_text:
            raise RequestError("the plan has problems: line 1")
        self.asked.append(("arm", plan_text, str(label)))
        return "2025-11-25-1"

    async def note(self, text: str) -> None:
        self.asked.append(("note", text))

    def plan_series(self, name: str, document: str) -> None:
        """As the store does; it is asked through the same channel."""
        if name == "old":
            raise SeriesKnownError("a series 'old' is planned already")
        self.asked.append(("plan series", name, document))

    async def end(self) -> str:
        self.asked.append(("end",))
        return "2025-11-25-1"


class Troubled(Trials):
    """Can do nothing of what it is asked."""

    async def note(self, text: str) -> None:
        raise StoreFullError("the disk is full")

    async def end(self) -> str:
        raise ApartError("the follower is gone")


@pytest.fixture
def trials() -> Trials:
    return Trials()


@pytest.fixture
def board() -> Board:
    return Board("yard", Clock(1.0, 0, 0.0, lambda: 5.0), IngestCounts())


def control(folder: Path, board: Board, trials: Any, more: Sequence[Board] = ()) -> Control:
    """Return the channel of one bench whose trials are made up, and of more whose trials are the same."""
    watch = HealthWatch(board.clock)
    lanes: dict[str, Any] = {}
    for one in (board, *more):
        lanes[one.bench] = SimpleNamespace(bench_id=one.bench, board=one, keeper=trials, health=watch.over(one))
    return Control(folder, lanes, watch, cast(Store, trials))


@asynccontextmanager
async def served(folder: Path, board: Board, trials: Any) -> AsyncIterator[None]:
    task = asyncio.create_task(control(folder, board, trials).run())
    try:
        await until(socket_path(folder).exists, "the socket")
        yield
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


async def told(folder: Path, request: dict[str, Any]) -> dict[str, Any]:
    return await asyncio.to_thread(ask, folder, request)


async def raw(folder: Path, line: bytes) -> bytes:
    reader, writer = await asyncio.open_unix_connection(socket_path(folder))
    writer.write(line)
    async with asyncio.timeout(10.0):
        answer = await reader.read()
    writer.close()
    await writer.wait_closed()
    return answer


async def test_requests_reach_the_trials_and_are_answered(tmp_path: Path, board: Board, trials: Trials) -> None:
    async with served(tmp_path, board, trials):
        armed = await told(tmp_path, {"do": "arm", "plan": 'label = "x"', "label": None})
        assert armed == {"done": "arm", "trial": "2025-11-25-1"}
        assert await told(tmp_path, {"do": "note", "text": "  windy  "}) == {"done": "note"}
        assert (await told(tmp_path, {"do": "end"}))["trial"] == "2025-11-25-1"
        assert (await told(tmp_path, {"do": "live"}))["live"]["bench"] == "yard"
        planned = {"do": "plan series", "name": "holes-1", "document": "{}"}
        assert await told(tmp_path, planned) == {"done": "plan series"}
    asked = [("arm", 'label = "x"', "None"), ("note", "windy"), ("end",), ("plan series", "holes-1", "{}")]
    assert trials.asked == asked


@pytest.mark.parametrize(
    ("request_", "why"),
    [
        ({"do": "arm", "plan": "bad", "label": None}, "the plan has problems"),
        ({"do": "arm"}, "a part of it is missing"),
        ({"do": "plan series", "name": "old", "document": "{}"}, "planned already"),
        ({"do": "note", "text": "   "}, "a part of it is missing"),
        ({"do": "note", "text": "x" * (MAX_NOTE + 1)}, "a part of it is missing"),
        ({"do": "dance"}, "no request of this kind"),
        ({}, "no request of this kind"),
    ],
)
async def test_what_cannot_be_granted_is_refused_with_the_reason(
    tmp_path: Path, board: Board, trials: Trials, request_: dict[str, Any], why: str
) -> None:
    async with served(tmp_path, board, trials):
        with pytest.raises(RequestError, match=why):
            await told(tmp_path, request_)
    assert trials.asked == []


@pytest.mark.parametrize("line", [b"\n", b"not json\n", b"[1]\n", b"\xff\xfe\n", b'{"do": "end"'])
async def test_hostile_lines_end_their_connection_alone(
    tmp_path: Path, board: Board, trials: Trials, line: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "REQUEST_LIMIT_S", 0.1)
    async with served(tmp_path, board, trials):
        assert await raw(tmp_path, line) == b""
        assert (await told(tmp_path, {"do": "live"}))["done"] == "live"


def test_a_request_nested_without_end_is_none() -> None:
    with pytest.raises(ValueError, match="nested"):
        read_request(b"[" * 100_000)


async def test_an_endless_line_is_cut_off(
    tmp_path: Path, board: Board, trials: Trials, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "MAX_LINE_BYTES", 1_000)
    async with served(tmp_path, board, trials):
        with suppress(ConnectionError):
            assert await raw(tmp_path, b"x" * 100_000) == b""
        assert (await told(tmp_path, {"do": "live"}))["done"] == "live"


async def test_who_watches_sees_what_was_said_and_then_what_happens(
    tmp_path: Path, board: Board, trials: Trials
) -> None:
    board.say({"kind": "lit"})
    async with served(tmp_path, board, trials):
        reader, writer = await asyncio.open_unix_connection(socket_path(tmp_path))
        writer.write(b'{"do": "watch"}\n')
        async with asyncio.timeout(10.0):
            first = [json.loads(await reader.readline()) for _ in range(2)]
            assert first[0]["live"]["schema"] == "emberline.live/1"
            assert first[1] == {"event": {"kind": "lit"}}
            board.say({"kind": "boil"})
            while True:
                line = json.loads(await reader.readline())
                if "event" in line:
                    assert line["event"]["kind"] == "boil"
                    break
        writer.close()
        await writer.wait_closed()


async def test_a_reading_is_shown_within_a_quarter_of_a_second(tmp_path: Path, board: Board, trials: Trials) -> None:
    """From the change on the board to the line at a viewer, 95th percentile; common machines, loopback."""
    delays = []
    async with served(tmp_path, board, trials):
        reader, writer = await asyncio.open_unix_connection(socket_path(tmp_path))
        writer.write(b'{"do": "watch"}\n')
        loop = asyncio.get_running_loop()
        async with asyncio.timeout(30.0):
            await reader.readline()
            for lost in range(1, 21):
                await asyncio.sleep(0.037)
                board.lost = lost
                board.touch()
                changed_s = loop.time()
                while json.loads(await reader.readline())["live"]["samples_lost"] != lost:
                    pass
                delays.append(loop.time() - changed_s)
        writer.close()
        await writer.wait_closed()
    assert sorted(delays)[18] < 0.25


async def test_viewers_come_and_go_without_a_trace_and_their_number_is_bounded(
    tmp_path: Path, board: Board, trials: Trials, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "STILL_S", 0.01)
    monkeypatch.setattr(module, "LEAST_PAUSE_S", 0.005)
    before = len(asyncio.all_tasks())
    async with served(tmp_path, board, trials):
        for _ in range(100):
            _, writer = await asyncio.open_unix_connection(socket_path(tmp_path))
            writer.write(b'{"do": "watch"}\n')
            writer.close()
        await until(lambda: len(asyncio.all_tasks()) <= before + 1, "the viewers to be gone")
        writers = []
        for _ in range(MAX_VIEWERS):
            reader, writer = await asyncio.open_unix_connection(socket_path(tmp_path))
            writer.write(b'{"do": "watch"}\n')
            await reader.readline()
            writers.append(writer)
        with pytest.raises(RequestError, match="viewers watch already"):
            await asyncio.to_thread(lambda: next(watch(tmp_path)))
        for writer in writers:
            writer.close()
            await writer.wait_closed()
        await until(lambda: len(asyncio.all_tasks()) <= before + 1, "the last viewers to be gone")


async def test_a_viewer_that_does_not_read_is_let_go(
    tmp_path: Path, board: Board, trials: Trials, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "SEND_LIMIT_S", 0.05)
    monkeypatch.setattr(module, "LEAST_PAUSE_S", 0.0)
    board.say({"kind": "lit", "evidence": "x" * 2_000_000})
    before = len(asyncio.all_tasks())
    async with served(tmp_path, board, trials):
        stuck = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        stuck.setblocking(False)
        stuck.connect(str(socket_path(tmp_path)))
        stuck.send(b'{"do": "watch"}\n')
        await asyncio.sleep(0.02)
        await until(lambda: len(asyncio.all_tasks()) <= before + 1, "the stuck viewer to be let go")
        assert (await told(tmp_path, {"do": "live"}))["done"] == "live"
        stuck.close()


async def test_the_socket_is_for_this_user_alone_and_goes_with_the_daemon(
    tmp_path: Path, board: Board, trials: Trials
) -> None:
    path = socket_path(tmp_path)
    path.touch()
    path.unlink()
    async with served(tmp_path, board, trials):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert not path.exists()


async def test_a_dead_daemons_socket_is_replaced(tmp_path: Path, board: Board, trials: Trials) -> None:
    dead = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    dead.bind(str(socket_path(tmp_path)))
    dead.close()
    with pytest.raises(NoDaemonError):
        ask(tmp_path, {"do": "live"})
    task = asyncio.create_task(control(tmp_path, board, trials).run())
    async with asyncio.timeout(10.0):
        while True:
            try:
                assert (await told(tmp_path, {"do": "live"}))["done"] == "live"
                break
            except NoDaemonError:
                await asyncio.sleep(0.01)
    task.cancel()
    with suppress(asyncio.CancelledError):
        await task


async def test_a_daemon_in_trouble_says_why_it_cannot(tmp_path: Path, board: Board) -> None:
    async with served(tmp_path, board, Troubled()):
        with pytest.raises(RequestError, match="the disk is full"):
            await asyncio.to_thread(ask, tmp_path, {"do": "note", "text": "poked"})
        with pytest.raises(RequestError, match="the follower is gone"):
            await asyncio.to_thread(ask, tmp_path, {"do": "end"})


async def test_whoever_asks_is_told_how_the_recording_stands(tmp_path: Path, board: Board, trials: Trials) -> None:
    async with served(tmp_path, board, trials):
        answer = await asyncio.to_thread(ask, tmp_path, {"do": "health"})
    assert answer["health"]["schema"] == "emberline.health/2"
    assert answer["health"]["recording"] == "not recording"


async def test_a_socket_that_cannot_be_made_is_tried_again_and_recording_goes_on(
    tmp_path: Path, board: Board, trials: Trials, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "AGAIN_S", 0.02)
    place = tmp_path / "folder"
    served_there = control(place, board, trials)
    watch = served_there._watch
    task = asyncio.create_task(served_there.run())
    await until(lambda: bool(watch.health().warnings), "the warning")
    assert "commands cannot reach this daemon" in watch.health().warnings[0]
    place.mkdir()
    await until(lambda: socket_path(place).exists(), "the socket")
    await until(lambda: watch.health().warnings == (), "the all-clear")
    task.cancel()
    await asyncio.wait([task])


async def test_of_several_benches_a_request_names_one(tmp_path: Path, board: Board, trials: Trials) -> None:
    shed = Board("shed", board.clock, IngestCounts())
    task = asyncio.create_task(control(tmp_path, board, trials, [shed]).run())
    await until(socket_path(tmp_path).exists, "the socket")
    for request in (
        {"do": "live"},
        {"do": "end"},
        {"do": "note", "text": "x"},
        {"do": "arm", "plan": "", "label": None},
    ):
        with pytest.raises(RequestError, match="say which of shed, yard with --bench"):
            await told(tmp_path, request)
    with pytest.raises(RequestError, match="no bench 'barn' is recorded here, but shed, yard"):
        await told(tmp_path, {"do": "live", "bench": "barn"})
    assert trials.asked == []
    assert (await told(tmp_path, {"do": "live", "bench": "shed"}))["live"]["bench"] == "shed"
    health = (await told(tmp_path, {"do": "health"}))["health"]
    assert [one["bench"] for one in health["benches"]] == ["yard", "shed"]
    health = (await told(tmp_path, {"do": "health", "bench": "shed"}))["health"]
    assert [one["bench"] for one in health["benches"]] == ["shed"]
    with pytest.raises(RequestError, match="say which of"):
        await asyncio.to_thread(lambda: next(watch(tmp_path)))
    assert (await asyncio.to_thread(lambda: next(watch(tmp_path, "shed"))))["live"]["bench"] == "shed"
    task.cancel()
    await asyncio.wait([task])


class Asked:
    """Guides that note what they are asked."""

    async def show(self, bench: str) -> dict[str, Any]:
        return {"step": "begin", "bench": bench}

    async def ask(self, bench: str, request: Mapping[str, Any]) -> dict[str, Any]:
        return {"step": request["act"], "bench": bench}


async def test_a_guided_burn_is_shown_and_answered(tmp_path: Path, board: Board, trials: Trials) -> None:
    lanes: dict[str, Any] = {"yard": SimpleNamespace(bench_id="yard", board=board, keeper=trials)}
    guides = cast(Guides, Asked())
    channel = Control(tmp_path, lanes, HealthWatch(board.clock), cast(Store, trials), guides)
    task = asyncio.create_task(channel.run())
    try:
        await until(socket_path(tmp_path).exists, "the socket")
        for request, step in (({"do": "guide"}, "begin"), ({"do": "guide", "act": "skip"}, "skip")):
            answer = await asyncio.to_thread(ask, tmp_path, request)
            assert answer["guide"] == {"step": step, "bench": "yard"}
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


async def test_alarms_are_acknowledged_by_name(tmp_path: Path, board: Board, trials: Trials) -> None:
    board.alarms.raised(AlarmKind.PROBE_OUT, "it fell", 5)
    async with served(tmp_path, board, trials):
        request = {"do": "acknowledge", "who": "Ada", "alarm": None}
        assert (await told(tmp_path, request))["alarms"] == ["The water probe is out of the water"]
        (alarm,) = (await told(tmp_path, {"do": "live"}))["live"]["alarms"]
        assert (alarm["acknowledged_by"], alarm["told"]) == ("Ada", 1)
        with pytest.raises(RequestError, match="nobody has acknowledged"):
            await told(tmp_path, request)
