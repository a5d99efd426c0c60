"""The door to the pages where other machines can reach them: who has the token comes in.

The token stands in a file of the data folder that its owner alone may read. A person opens the link with it once; the
browser keeps it as a cookie from then on. A program sends it as `Authorization: Bearer TOKEN` (RFC 6750, section 2.1).
"""

import contextlib
import hmac
import ipaddress
import os
import secrets
import socket
from http.cookies import CookieError, SimpleCookie
from pathlib import Path
from urllib.parse import parse_qsl, urlencode, urlsplit

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import RedirectResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from emberline.web.frame import SEE_OTHER, told

TOKEN_FILE = "pages.token"  # noqa: S105 a name, no secret
COOKIE = "emberline-token"
PARAMETER = "token"
YEAR_S = 365 * 86_400
TOKEN_BYTES = 24
"""192 bits: not to be guessed (RFC 4086 asks for 128)."""
NO_ENTRY = (
    "These pages are open to those who have their link. It was shown where Emberline was started, and "
    f"`emberline link` shows it again there; the token in it stands in {TOKEN_FILE}, in the data folder."
)


def is_loopback(host: str) -> bool:
    """Tell whether only this machine can reach a server that listens on a host."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def token_of(folder: Path) -> str:
    """Return the token of a data folder; made where there is none yet.

    Raises:
        OSError: It cannot be read or kept.
    """
    path = folder / TOKEN_FILE
    try:
        found = path.read_text(encoding="ascii").strip()
    except FileNotFoundError:
        found = ""
    if found:
        return found
    made = secrets.token_urlsafe(TOKEN_BYTES)
    unfinished = path.with_name(path.name + ".unfinished")
    unfinished.unlink(missing_ok=True)
    with os.fdopen(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="ascii") as file:
        file.write(f"{made}\n")
    unfinished.replace(path)
    return made


def link_of(url: str, token: str) -> str:
    """Return the link that a person opens on another device.

    Args:
        url: Where the pages are served; an address that stands for all becomes the one by which others reach it.
        token: The token.
    """
    parts = urlsplit(url)
    host = parts.hostname or ""
    try:
        everywhere = ipaddress.ip_address(host).is_unspecified
    except ValueError:
        everywhere = False
    if everywhere:
        host = _own_address()
    shown = f"[{host}]" if ":" in host else host
    return f"{parts.scheme}://{shown}:{parts.port}/?{urlencode({PARAMETER: token})}"


def _own_address() -> str:
    """Return the address by which this machine would reach others; its name where it has no way to them."""
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        # A datagram socket that is connected sends nothing: it only learns which of its addresses would be used.
        probe.connect(("192.0.2.1", 9))
        return str(probe.getsockname()[0])
    return socket.gethostname()


class Door:
    """Lets in who has the token, and gives a browser that comes with it a cookie."""

    def __init__(self, app: ASGIApp, token: str) -> None:
        """Stand before an application."""
        self._app = app
        self._token = token.encode()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http" or self._known(Headers(scope=scope)):
            await self._app(scope, receive, send)
            return
        asked = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)
        given = next((value for name, value in asked if name == PARAMETER), "")
        if scope["method"] == "GET" and self._is(given):
            rest = urlencode([(name, value) for name, value in asked if name != PARAMETER])
            answer = RedirectResponse(f"{scope['path']}{f'?{rest}' if rest else ''}", status_code=SEE_OTHER)
            encrypted = scope["scheme"] == "https"
            answer.set_cookie(COOKIE, given, max_age=YEAR_S, secure=encrypted, httponly=True, samesite="lax")
            await answer(scope, receive, send)
            return
        refusal = told(Request(scope), 401, NO_ENTRY)
        refusal.headers["WWW-Authenticate"] = "Bearer"
        await refusal(scope, receive, send)

    def _known(self, headers: Headers) -> bool:
        kind, _, bearer = headers.get("authorization", "").partition(" ")
        if kind.lower() == "bearer" and self._is(bearer.strip()):
            return True
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            return False
        return cookie is not None and self._is(cookie.value)

    def _is(self, given: str) -> bool:
        """Tell whether a text is the token, in a time that says nothing of how much of it is right."""
        return hmac.compare_digest(given.encode("utf-8", "replace"), self._token)
