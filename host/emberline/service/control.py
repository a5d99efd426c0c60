"""The control channel: a Unix socket in the data folder, over which other commands watch and steer a running daemon.

One JSON object a line, both ways. A request names what it wants under `do`; `watch` is answered by lines without end,
everything else by one line with `done` or `refused`. Where several benches are recorded, `bench` says which is meant.
"""

import asyncio
import contextlib
import json
import logging
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from emberline.bench.errors import CalibrationError
from emberline.service.board import Board
from emberline.service.calibrating import Calibrations
from emberline.service.control_place import socket_path
from emberline.service.errors import RequestError, ServiceError
from emberline.service.guide import Guides
from emberline.service.health import HealthWatch, health_document
from emberline.service.lane import Lane, lane_of
from emberline.store.errors import StoreError
from emberline.store.store import Store

LOG = logging.getLogger(__name__)

MAX_LINE_BYTES = 1_000_000
"""A plan fits many times; a line beyond it ends the connection."""
MAX_VIEWERS = 32
MAX_NOTE = 2_000
SEND_LIMIT_S = 5.0
"""A viewer that does not take a line within this time is let go."""
REQUEST_LIMIT_S = 30.0
LET_GO_LIMIT_S = 0.5
AGAIN_S = 10.0
STILL_S = 1.0
"""A live line goes out at least this often, real seconds, so that ages are seen to grow."""
LEAST_PAUSE_S = 0.1
"""Shortest pause between two live lines; a person reads no faster."""


class Control:
    """Serves the control channel of one data folder."""

    def __init__(
        self,
        folder: Path,
        lanes: Mapping[str, Lane],
        watch: HealthWatch,
        store: Store,
        guides: Guides | None = None,
        calibrations: Calibrations | None = None,
    ) -> None:
        """Prepare; `run` serves until cancelled."""
        self._guides = guides
        self._calibrations = calibrations
        self._path = socket_path(folder)
        self._store = store
        self._watch = watch
        self._lanes = lanes
        self._viewers = 0
        self._connections: dict[asyncio.Task[None], asyncio.StreamWriter] = {}

    async def run(self) -> None:
        """Serve until cancelled; where the socket cannot be made, as on a full disk, try again and again."""
        if sys.platform == "win32":
            LOG.warning("this system has no Unix sockets: `watch`, `status`, `arm`, `note` and `end` do not work here")
            return
        while True:
            try:
                server = await self._listening()
            except OSError as error:
                why = error.strerror or error
                self._watch.warn("control", f"commands cannot reach this daemon, {self._path} cannot be made: {why}")
                await asyncio.sleep(AGAIN_S)
                continue
            self._watch.warn("control", "")
            try:
                async with server:
                    await server.serve_forever()
            finally:
                with contextlib.suppress(OSError):
                    self._path.unlink(missing_ok=True)
                await self._let_go()

    async def _listening(self) -> asyncio.Server:
        if sys.platform == "win32":
            raise OSError("no Unix sockets here")  # `run` has told so already; mypy heeds no assertion of it
        # The store's lock says that no other daemon serves this folder, so a socket found here is a dead one's.
        self._path.unlink(missing_ok=True)
        server = await asyncio.start_unix_server(self._serve, self._path, limit=MAX_LINE_BYTES)
        self._path.chmod(0o600)
        return server

    async def _let_go(self) -> None:
        """End all connections and wait for their tasks; the server itself does not."""
        for writer in self._connections.values():
            writer.transport.abort()
        for lane in self._lanes.values():
            lane.board.touch()
        if self._connections:
            await asyncio.wait(self._connections, timeout=LET_GO_LIMIT_S)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        if task is not None:
            self._connections[task] = writer
            task.add_done_callback(lambda ended: self._connections.pop(ended, None))
        try:
            async with asyncio.timeout(REQUEST_LIMIT_S):
                line = await reader.readline()
            request = read_request(line)
            if request.get("do") == "watch":
                await self._watched(request, reader, writer)
            else:
                await _send(writer, await self._answer(request))
        except (OSError, TimeoutError, ValueError) as error:
            LOG.debug("a control connection ended: %s", error)
            # A graceful close would wait for ever for a peer that takes nothing.
            writer.transport.abort()
        finally:
            writer.close()
            with contextlib.suppress(OSError):
                await writer.wait_closed()

    async def _answer(self, request: Mapping[str, Any]) -> dict[str, Any]:
        try:
            match request:
                case {"do": "arm", "plan": str(plan), "label": None | str() as label}:
                    return {"done": "arm", "trial": await self._lane(request).keeper.arm(plan, label)}
                case {"do": "note", "text": str(text)} if 0 < len(text.strip()) <= MAX_NOTE:
                    await self._lane(request).keeper.note(text.strip())
                    return {"done": "note"}
                case {"do": "end"}:
                    return {"done": "end", "trial": await self._lane(request).keeper.end()}
                case {"do": "plan series", "name": str(name), "document": str(document)}:
                    await asyncio.to_thread(self._store.plan_series, name, document)
                    return {"done": "plan series"}
                case {"do": "guide"} if self._guides is not None:
                    return {"done": "guide", "guide": await self._guided(self._guides, request)}
                case {"do": "bench" | "calibrate" | "recalibrate"} if self._calibrations is not None:
                    return await self._calibrated(self._calibrations, request)
                case {"do": "acknowledge", "who": str(who), "alarm": None | str() as kind}:
                    return {"done": "acknowledge", "alarms": self._lane(request).board.alarms.acknowledge(who, kind)}
                case {"do": "health", "bench": str()}:
                    health = self._watch.health(self._lane(request).health)
                    return {"done": "health", "health": health_document(health)}
                case {"do": "health"}:
                    return {"done": "health", "health": health_document(self._watch.health())}
                case {"do": "live"}:
                    return {"done": "live", "live": self._lane(request).board.document()}
        except (ServiceError, StoreError, CalibrationError) as error:
            return {"refused": str(error)}
        return {"refused": f"no request of this kind is known, or a part of it is missing: {request.get('do')!r}"}

    async def _guided(self, guides: Guides, request: Mapping[str, Any]) -> dict[str, Any]:
        bench = self._lane(request).bench_id
        return await guides.ask(bench, request) if "act" in request else await guides.show(bench)

    async def _calibrated(self, calibrations: Calibrations, request: Mapping[str, Any]) -> dict[str, Any]:
        match request:
            case {"do": "bench"}:
                lane = self._lane(request)
                trial = None if lane.board.trial is None else lane.board.trial.id
                return {"done": "bench", "id": lane.bench_id, "trial": trial, "bench": calibrations.described(lane)}
            case {"do": "calibrate", "channel": str(), "kind": str(), "who": str(), "found": dict()}:
                return {"done": "calibrate", "number": await calibrations.keep(self._lane(request), request)}
            case {"do": "recalibrate", "trial": str(trial), "who": str(who), "as_recorded": bool(as_recorded)}:
                await calibrations.recalibrate(trial, who, as_recorded=as_recorded)
                return {"done": "recalibrate", "trial": trial}
        raise RequestError(f"a part of the request is missing: {request['do']!r}")

    def _lane(self, request: Mapping[str, Any]) -> Lane:
        bench = request.get("bench")
        return lane_of(self._lanes, None if bench is None else str(bench))

    async def _watched(
        self, request: Mapping[str, Any], reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        try:
            board = self._lane(request).board
        except RequestError as error:
            await _send(writer, {"refused": str(error)})
            return
        if self._viewers >= MAX_VIEWERS:
            await _send(writer, {"refused": f"{MAX_VIEWERS} viewers watch already: close one"})
            return
        await self._show(board, reader, writer)

    async def _show(self, board: Board, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._viewers += 1
        try:
            index, version = 0, -1
            while not reader.at_eof():
                await board.changed(version, STILL_S)
                version = board.version
                await _send(writer, {"live": board.document()})
                said, index = board.said_since(index)
                for document in said:
                    await _send(writer, {"event": document})
                await asyncio.sleep(LEAST_PAUSE_S)
        finally:
            self._viewers -= 1


def read_request(line: bytes) -> dict[str, Any]:
    """Return the request that a line holds.

    Raises:
        ValueError: It holds none.
    """
    try:
        request = json.loads(line)
    except RecursionError as error:
        raise ValueError("a request is not nested") from error
    if not isinstance(request, dict):
        raise ValueError("a request is a JSON object")
    return request


async def _send(writer: asyncio.StreamWriter, document: Mapping[str, Any]) -> None:
    writer.write(json.dumps(document, ensure_ascii=False).encode() + b"\n")
    async with asyncio.timeout(SEND_LIMIT_S):
        await writer.drain()
