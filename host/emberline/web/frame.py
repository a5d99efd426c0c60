"""What all pages share: templates, static files, headers, the check of every POST, and errors told in words."""

import hashlib
import ipaddress
import json
import logging
import mimetypes
import socket
from collections.abc import Mapping
from importlib.resources import files
from typing import Any
from urllib.parse import SplitResult, urlsplit

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from emberline import __version__
from emberline.reports.caution import CAUTION_CLOSE, CAUTION_POINTS, CAUTION_TITLE
from emberline.service.errors import RequestError
from emberline.store.errors import StoreError, UnknownTrialError

LOG = logging.getLogger(__name__)

SEE_OTHER = 303
"""After a POST, the browser fetches another page (RFC 9110, section 15.4.4): a reload repeats nothing."""
REFUSED = 422
"""What was sent is understood and cannot be taken (RFC 9110, section 15.5.21)."""
NOT_NOW = 409
"""It can be taken at another time (RFC 9110, section 15.5.10)."""
FAILURE = 500
"""From here on the fault is not the request's (RFC 9110, section 15.6)."""

_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob:",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
"""Content Security Policy Level 3 (W3C): nothing that a page shows or runs comes from elsewhere."""
_HEADERS = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": _POLICY,
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
}

_AT_HOME = ("local", "lan", "internal", "localdomain", "home.arpa")
"""What routers and machines at home append to a name, and nobody can register (RFC 6762, RFC 8375, ICANN)."""

_TITLES = {
    400: "That could not be read",
    401: "This needs the link",
    403: "That came from elsewhere",
    404: "There is nothing here",
    405: "Not in this way",
    409: "Not now",
    413: "That is too large",
    422: "That cannot be taken",
    503: "The store does not answer",
}
_WORDS = {
    404: "No page has this address.",
    405: "This address takes another kind of request.",
    413: "More was sent than is taken at once.",
}
_FAILED = "Something went wrong in Emberline itself. It is in the log; readings are recorded all the same."


def named(bench: str) -> str:
    """Return what a bench is called in a sentence: an id that is such a word already needs no other before it."""
    return bench if bench.lower().startswith("bench") else f"bench {bench}"


def template_environment() -> Environment:
    """Return the environment of all pages; what goes into a page is escaped."""
    environment = Environment(
        loader=PackageLoader("emberline.web", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["named"] = named
    environment.globals.update(
        version=__version__,
        caution_title=CAUTION_TITLE,
        caution_points=CAUTION_POINTS,
        caution_close=CAUTION_CLOSE,
    )
    return environment


_ENVIRONMENT = template_environment()


def page(template: str, status: int = 200, **values: Any) -> HTMLResponse:
    """Return a page.

    Args:
        template: Its template's file name, such as `live.html.j2`.
        status: HTTP status.
        values: What the template names.
    """
    return HTMLResponse(_ENVIRONMENT.get_template(template).render(**values), status_code=status)


def wants_json(request: Request) -> bool:
    """Tell whether one of our scripts asks, which shows the answer itself."""
    return "application/json" in request.headers.get("accept", "")


def done(request: Request, to: str, words: str) -> Response:
    """Answer a POST that was granted: words for a script to announce, else the page to go on with.

    Args:
        request: The request.
        to: Path of the page to go on with.
        words: What was done.
    """
    if wants_json(request):
        return JSONResponse({"done": words, "to": to})
    return RedirectResponse(to, status_code=SEE_OTHER)


def refused(refusals: Mapping[str, str]) -> JSONResponse:
    """Answer a script whose POST was refused: a reason for each field, under "" for the form as a whole.

    The script was understood and answered, so the status is 200; a person without scripts gets the page anew, with
    status 422.
    """
    return JSONResponse({"refused": dict(refusals)})


# Static files


class StaticFiles:
    """The package's static files, read once: no page waits for a disk that hangs."""

    def __init__(self) -> None:
        """Read them."""
        folder = files("emberline.web") / "static"
        self._kept: dict[str, tuple[bytes, str, str]] = {}
        for file in folder.iterdir():
            content = file.read_bytes()
            kind = mimetypes.guess_type(file.name)[0] or "text/plain"
            self._kept[file.name] = (content, kind, f'"{hashlib.sha256(content).hexdigest()[:16]}"')

    async def serve(self, request: Request) -> Response:
        """Return the file that the path names; a browser that has it already is told so."""
        found = self._kept.get(request.path_params["name"])
        if found is None:
            raise HTTPException(404)
        content, kind, tag = found
        headers = {"Cache-Control": "no-cache", "ETag": tag}
        if tag in request.headers.get("if-none-match", ""):
            return Response(status_code=304, headers=headers)
        return Response(content, media_type=kind, headers=headers)


# Every request and answer


class Guard:
    """Refuses what another site has a browser ask or send, and gives every answer its headers.

    A page elsewhere can make a browser post to this address, and a name elsewhere can be made to lead to it, by which
    that page could read, too. So the host that is asked has to be an address, `localhost` or a name of this machine,
    and the page that posts has to be ours.
    """

    def __init__(self, app: ASGIApp, name: str = "") -> None:
        """Stand before an application.

        Args:
            app: The application.
            name: By which a person had it served; one more name of this machine.
        """
        self._app = app
        self._name = name.lower()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        why = _foreign(Headers(scope=scope), scope["method"], self._name)
        if why:
            LOG.warning("a request was refused: %.300s", why)
            await told(Request(scope), 403, _sentence(why))(scope, receive, send_with_headers)
            return
        await self._app(scope, receive, send_with_headers)


def _foreign(headers: Headers, method: str, served_as: str) -> str:
    """Return why a request is not one of our own pages'; empty if it may be."""
    host = headers.get("host", "")
    reads = method in ("GET", "HEAD", "OPTIONS")
    # A program that is no browser sends no host or origin, and does nothing behind a person's back.
    if reads and not host:
        return ""
    name = _split(f"//{host}").hostname or ""
    if not _ours(name, served_as):
        return (
            f"it was sent to {repr(host) if host else 'no host'}, which is no name of this machine: open the page by "
            "the machine's address or its own name, or give --http the name that others use"
        )
    ours = headers.get("sec-fetch-site", "same-origin") in ("same-origin", "none")
    if reads:
        # Another site may lead a person here, and not have a browser fetch pictures or make files behind their back.
        led = headers.get("sec-fetch-mode", "navigate") == "navigate"
        return "" if ours or led else "it came from another site's page, which may not take anything from Emberline's"
    origin = headers.get("origin")
    if origin is not None and _split(origin).netloc.lower() != host.lower():
        return f"it came from a page of {origin!r}, not from one of Emberline's"
    if not ours:
        return "it came from another site's page, not from one of Emberline's"
    return ""


def _split(url: str) -> SplitResult:
    try:
        return urlsplit(url)
    except ValueError:
        return SplitResult("", "", "", "", "")


def _ours(name: str, served_as: str) -> bool:
    """Tell whether a host's name cannot have been made up by somebody else."""
    machine = socket.gethostname().lower()
    short = machine.partition(".")[0]
    if name and name in {"localhost", machine, short, served_as, *(f"{short}.{suffix}" for suffix in _AT_HOME)}:
        return True
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


# Errors in words


def told(request: Request, status: int, words: str) -> Response:
    """Answer a request that failed, in words: to a script as a refusal, to a person as a page.

    A script that posts gets the status of a refusal, as from `refused`, unless the fault is ours.
    """
    if wants_json(request):
        answer = refused({"": words})
        answer.status_code = 200 if request.method == "POST" and status < FAILURE else status
        return answer
    title = _TITLES.get(status, "That did not work")
    return page("error.html.j2", status, title=title, words=words)


async def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    bare = error.detail == HTTPException(error.status_code).detail
    words = _WORDS.get(error.status_code, error.detail) if bare else error.detail
    return told(request, error.status_code, words)


async def _request_error(request: Request, error: Exception) -> Response:
    return told(request, NOT_NOW, _sentence(str(error)))


async def _store_error(request: Request, error: Exception) -> Response:
    if isinstance(error, UnknownTrialError):
        return told(request, 404, "The store holds no trial of that name.")
    return told(request, 503, _sentence(str(error)))


async def _left(request: Request, _: Exception) -> Response:
    # Nobody takes this answer.
    return told(request, 400, "The connection ended before all was sent.")


async def _failure(request: Request, error: Exception) -> Response:
    LOG.error("%s %.300r failed", request.method, request.scope["path"], exc_info=error)
    return told(request, 500, _FAILED)


ERRORS = {
    HTTPException: _http_error,
    RequestError: _request_error,
    StoreError: _store_error,
    ClientDisconnect: _left,
    Exception: _failure,
}
"""How the errors that a page can meet are told."""


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:].rstrip('.')}."


def as_json(value: object) -> str:
    """Write a JSON value in the fewest bytes.

    Raises:
        ValueError: A number is not finite.
    """
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
