import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from emberline.service import control_client as module
from emberline.service.control_client import ask, watch
from emberline.service.control_place import socket_path
from emberline.service.errors import NoDaemonError, RequestError


@contextmanager
def answering(folder: Path, answer: bytes | None) -> Iterator[None]:
    """Answer one connection with some bytes, then close it; None: stay silent until the end."""
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    listener.bind(str(socket_path(folder)))
    listener.listen()
    over = threading.Event()

    def serve() -> None:
        connection, _ = listener.accept()
        connection.recv(1000)
        if answer is None:
            over.wait(10.0)
        else:
            connection.sendall(answer)
        connection.close()

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()
        listener.close()


def test_without_a_daemon_the_message_says_how_to_start_one(tmp_path: Path) -> None:
    with pytest.raises(NoDaemonError, match="emberline run --data"):
        ask(tmp_path, {"do": "end"})


def test_an_answer_is_returned_and_a_refusal_raised(tmp_path: Path) -> None:
    with answering(tmp_path, b'{"done": "end", "trial": "t"}\n'):
        assert ask(tmp_path, {"do": "end"}) == {"done": "end", "trial": "t"}
    socket_path(tmp_path).unlink()
    with answering(tmp_path, b'{"refused": "no trial is running"}\n'), pytest.raises(RequestError, match="no trial"):
        ask(tmp_path, {"do": "end"})


@pytest.mark.parametrize(("answer", "why"), [(b"", "closed without an answer"), (b"half a li", "ended while it spoke")])
def test_a_daemon_that_dies_is_told_of(tmp_path: Path, answer: bytes, why: str) -> None:
    with answering(tmp_path, answer), pytest.raises(NoDaemonError, match=why):
        ask(tmp_path, {"do": "end"})


def test_a_silent_daemon_is_not_waited_for_for_ever(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "ANSWER_LIMIT_S", 0.05)
    with answering(tmp_path, None), pytest.raises(NoDaemonError, match="said nothing for"):
        ask(tmp_path, {"do": "end"})


def test_another_users_daemon_is_told_from_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def deny(_: socket.socket, address: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(socket.socket, "connect", deny)
    with pytest.raises(NoDaemonError, match="another user"):
        ask(tmp_path, {"do": "health"})


def test_a_request_may_have_a_shorter_limit(tmp_path: Path) -> None:
    with answering(tmp_path, None), pytest.raises(NoDaemonError, match="said nothing for 0 s"):
        ask(tmp_path, {"do": "health"}, 0.05)


def test_watching_ends_with_the_daemon(tmp_path: Path) -> None:
    with answering(tmp_path, b'{"live": 1}\n{"event": 2}\n'):
        assert list(watch(tmp_path)) == [{"live": 1}, {"event": 2}]
