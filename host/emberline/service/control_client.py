"""The other end of the control channel: what `watch`, `status`, `arm`, `note` and `end` use."""

import json
import socket
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from emberline.service.control_place import socket_path
from emberline.service.errors import NoDaemonError, RequestError

CONNECT_LIMIT_S = 5.0
ANSWER_LIMIT_S = 120.0
"""Ending a trial may wait for readings that are still being followed."""
SILENCE_LIMIT_S = 15.0
"""A running daemon sends a line each second."""


def ask(folder: Path, request: Mapping[str, Any], limit_s: float | None = None) -> dict[str, Any]:
    """Send one request to the daemon of a data folder and return what it has done.

    Args:
        folder: The data folder.
        request: What is asked.
        limit_s: How long to wait for the answer; long enough for any request by default.

    Raises:
        NoDaemonError: No daemon runs there, or it does not answer.
        RequestError: It refuses, and says why.
    """
    with _connected(folder) as connection:
        _send(connection, request)
        answer = next(_lines(connection, ANSWER_LIMIT_S if limit_s is None else limit_s, folder), None)
    if answer is None:
        raise NoDaemonError(f"the daemon of {folder} closed without an answer: see its log")
    if "refused" in answer:
        raise RequestError(str(answer["refused"]))
    return answer


def watch(folder: Path, bench: str | None = None) -> Iterator[dict[str, Any]]:
    """Yield what the daemon of a data folder shows of a bench, line by line, until it ends.

    Args:
        folder: The data folder.
        bench: Id of the bench; needed only where several are recorded.

    Raises:
        NoDaemonError: No daemon runs there, or it has fallen silent.
        RequestError: It refuses.
    """
    with _connected(folder) as connection:
        _send(connection, {"do": "watch", "bench": bench})
        for line in _lines(connection, SILENCE_LIMIT_S, folder):
            if "refused" in line:
                raise RequestError(str(line["refused"]))
            yield line


def _connected(folder: Path) -> socket.socket:
    if sys.platform == "win32":
        raise NoDaemonError("this system has no Unix sockets, over which a running daemon is reached")
    path = socket_path(folder)
    connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    connection.settimeout(CONNECT_LIMIT_S)
    try:
        connection.connect(str(path))
    except PermissionError as error:
        connection.close()
        raise NoDaemonError(f"the daemon of {folder} runs as another user: ask as that one, or as root") from error
    except OSError as error:
        connection.close()
        raise NoDaemonError(f"no daemon runs on {folder}: start one with `emberline run --data {folder}`") from error
    return connection


def _send(connection: socket.socket, request: Mapping[str, Any]) -> None:
    connection.sendall(json.dumps(request).encode() + b"\n")


def _lines(connection: socket.socket, limit_s: float, folder: Path) -> Iterator[dict[str, Any]]:
    connection.settimeout(limit_s)
    with connection.makefile("rb") as lines:
        try:
            for line in lines:
                yield json.loads(line)
        except TimeoutError as error:
            raise NoDaemonError(f"the daemon of {folder} said nothing for {limit_s:.0f} s: see its log") from error
        except (OSError, ValueError) as error:
            raise NoDaemonError(f"the daemon of {folder} ended while it spoke") from error
