"""How much a request may bring: no more is read, whatever it says of its own length."""

import re

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from emberline.service.photos import MOST_BYTES
from emberline.web.frame import told

FORM_BYTES = 200_000
"""A form with a plan fits many times."""
PHOTO_BYTES = MOST_BYTES + 10_000
"""A photo, and what a form adds to the file that it sends."""
_PHOTOS = re.compile(r"/trials/[^/]+/photos")


class Bounds:
    """Refuses what is larger than its page takes: at once where it says so, else where the reading gets there."""

    def __init__(self, app: ASGIApp) -> None:
        """Stand before an application."""
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        most = PHOTO_BYTES if _PHOTOS.fullmatch(scope["path"]) else FORM_BYTES
        # The server has refused a length that is no number.
        if int(Headers(scope=scope).get("content-length") or 0) > most:
            await told(Request(scope), 413, _words(most))(scope, receive, send)
            return
        taken = 0

        async def bounded() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            # Nobody reads what comes with a GET.
            if taken > most and scope["method"] == "POST":
                raise HTTPException(413, _words(most))
            return message

        await self._app(scope, bounded, send)


def _words(most: int) -> str:
    size = f"{most / 1e6:.0f} MB" if most > FORM_BYTES else f"{most / 1e3:.0f} kB"
    return f"More was sent than is taken here at once: {size}."
