"""What a bench does now, as server-sent events: the newest state wins, and no viewer is waited for.

Each message is the whole state with the seconds of the curves that this viewer has not seen. Its id names what has been
seen: a browser that lost the connection sends it back, and is given what it missed.
"""

import asyncio
import logging
from collections.abc import AsyncGenerator, AsyncIterator, Mapping
from uuid import uuid4

from sse_starlette import EventSourceResponse
from sse_starlette.sse import SendTimeoutError
from starlette.types import Receive, Scope, Send

from emberline.service.board import Board
from emberline.service.recall import Recall
from emberline.store.errors import StoreError
from emberline.web.frame import as_json
from emberline.web.moment_field import whole

LOG = logging.getLogger(__name__)

SHORTEST_S = 0.1
"""Time between two messages at least, real seconds: what changes meanwhile is in the second one."""
LONGEST_S = 1.0
"""Time between two messages at most, real seconds: ages grow, and recording ends, without anything that happens."""
OVERVIEW_S = 0.5
NO_PING_S = 86_400
TAKE_LIMIT_S = 10.0
"""A viewer who takes nothing for so long is let go; its browser comes back by itself once it can."""

_RUN = uuid4().hex[:8]
"""Names this run of the program: versions of another one mean nothing here."""


class Viewers:
    """Those who watch one bench; what several of them are to be sent is written once."""

    def __init__(self, board: Board, recall: Recall) -> None:
        """Serve the viewers of a board, whose curves from before the daemon began are recalled."""
        self._board = board
        self._recall = recall
        self._live: tuple[int, int, str] = (-1, 0, "")
        self._points: dict[tuple[int, int], str] = {}
        self._points_of = -1

    async def messages(self, last_id: str) -> AsyncGenerator[dict[str, str], None]:
        """Yield messages until cancelled.

        Args:
            last_id: Id of the last message that this viewer has seen; empty for none.
        """
        board, version = self._board, -1
        trial, seen = _seen(last_id)
        complete = False
        while True:
            await board.changed(version, LONGEST_S)
            version = board.version
            now = "" if board.trial is None else board.trial.id
            if now != trial:
                # A fire that nobody armed has minutes of history, which may lie before the daemon's beginning.
                trial, seen, complete = now, 0, False
            complete = complete or await self._recalled()
            head = f'"marks":{board.marks},"whole":{"false" if seen else "true"}'
            text = f'{{{head},"live":{self._live_text()},"points":{self._points_text(seen)}}}'
            seen = board.course.version
            yield {"id": f"{_RUN}/{seen}/{trial}", "data": text}
            await asyncio.sleep(SHORTEST_S)

    async def _recalled(self) -> bool:
        """Go on bringing back what was before the daemon began; return whether that has come to an end."""
        try:
            return await self._recall.recall()
        except StoreError as error:
            # What is going on can be shown all the same.
            LOG.warning("curves from before the daemon began cannot be read: %s", error)
            return True

    def _live_text(self) -> str:
        board = self._board
        version, at_ns, text = self._live
        now_ns = board.clock.now_ns()
        if version != board.version or now_ns - at_ns > 0.5 * LONGEST_S * 1e9 * board.clock.speed:
            text = as_json(board.document())
            self._live = (board.version, now_ns, text)
        return text

    def _points_text(self, seen: int) -> str:
        board = self._board
        if self._points_of != board.course.version:
            self._points_of = board.course.version
            self._points.clear()
        start_ns = board.shown_from_ns() if board.trial is not None or not seen else 0
        key = (seen, start_ns if board.trial is not None else 0)
        if key not in self._points:
            self._points[key] = as_json(board.course.since(seen, start_ns))
        return self._points[key]


class Stream(EventSourceResponse):
    """A stream that ends in silence where its viewer takes nothing more."""

    def __init__(self, messages: AsyncIterator[dict[str, str]]) -> None:
        """Send messages as they come; they come often enough to need no sign of life between them."""
        super().__init__(messages, send_timeout=TAKE_LIMIT_S, ping=NO_PING_S)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send messages until the viewer leaves."""
        try:
            await super().__call__(scope, receive, send)
        except SendTimeoutError:
            LOG.info("a viewer took nothing for %.0f s and was let go", TAKE_LIMIT_S)


async def overview(boards: Mapping[str, Board]) -> AsyncGenerator[dict[str, str], None]:
    """Yield the live documents of all benches by their ids, twice a second or so, until cancelled; more may come."""
    while True:
        yield {"data": as_json([board.document() for _, board in sorted(boards.items())])}
        await asyncio.sleep(OVERVIEW_S)


def _seen(last_id: str) -> tuple[str, int]:
    """Return the trial and the version of the course that an id names; an id of another run names nothing."""
    run, _, rest = last_id.partition("/")
    version, _, trial = rest.partition("/")
    seen = whole(version)
    return (trial, seen) if run == _RUN and seen is not None else ("", 0)
