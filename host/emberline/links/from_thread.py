"""What a link's thread tells the event loop that opened the link."""

import asyncio
import contextlib
from collections.abc import Callable

from emberline.links.errors import LinkError


class EventLoopSide:
    """The event loop as a thread may speak to it; made on the loop, and of no effect once the loop has ended.

    Attributes:
        opened: Done once the thread has opened what it was made for, or could not.
    """

    def __init__(self) -> None:
        """Remember the loop that runs now."""
        self._loop = asyncio.get_running_loop()
        self.opened: asyncio.Future[None] = self._loop.create_future()

    def tell(self, call: Callable[..., object], *arguments: object) -> None:
        """Have something called on the loop soon; from any thread."""
        with contextlib.suppress(RuntimeError):  # the event loop has ended
            self._loop.call_soon_threadsafe(call, *arguments)

    def tell_opened(self, error: LinkError | None = None) -> None:
        """Let those who wait for `opened` go on, or have the error raised there; only the first word counts."""
        self.tell(self._finish_opening, error)

    def _finish_opening(self, error: LinkError | None) -> None:
        if self.opened.done():
            return
        if error is None:
            self.opened.set_result(None)
        else:
            self.opened.set_exception(error)
