"""An application asked without a server or a socket."""

import contextlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from starlette.types import ASGIApp, Message


@dataclass(frozen=True)
class Answer:
    """What an application answered.

    Attributes:
        status: HTTP status.
        headers: Its headers, their names in small letters.
        body: Its body.
    """

    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode()

    def json(self) -> Any:
        return json.loads(self.body)


async def asked(
    app: ASGIApp,
    method: str,
    path: str,
    headers: Mapping[str, str] | None = None,
    body: bytes = b"",
    *,
    raises: Sequence[type[Exception]] = (),
) -> Answer:
    """Ask an application something and return its whole answer.

    Args:
        app: The application.
        method: HTTP method.
        path: Path, with a query where there is one.
        headers: Headers.
        body: Body.
        raises: What the application raises after its answer, as for a server's log.
    """
    path, _, query = path.partition("?")
    sent: list[Message] = []
    received = iter([{"type": "http.request", "body": body, "more_body": False}])

    async def receive() -> Message:
        return next(received, {"type": "http.disconnect"})

    async def send(message: Message) -> None:
        sent.append(message)

    scope = {
        "type": "http",
        "http_version": "1.1",
        "method": method,
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "root_path": "",
        "query_string": query.encode(),
        "headers": [(name.lower().encode(), value.encode()) for name, value in (headers or {}).items()],
        "server": ("127.0.0.1", 8437),
        "client": ("127.0.0.1", 50000),
    }
    with contextlib.suppress(*raises):
        await app(scope, receive, send)
    start = sent[0]
    named = {name.decode(): value.decode() for name, value in start["headers"]}
    return Answer(start["status"], named, b"".join(message.get("body", b"") for message in sent[1:]))
