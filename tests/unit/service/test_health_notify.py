import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from emberline.service.health_notify import Notifier


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    """A real datagram socket, as a service manager holds it."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(str(tmp_path / "notify"))
        listener.setblocking(False)
        yield listener


def heard(manager: socket.socket) -> list[str]:
    said = []
    while True:
        try:
            said.append(manager.recv(4096).decode())
        except BlockingIOError:
            return said


def environment(manager: socket.socket, **more: str) -> dict[str, str]:
    return {"NOTIFY_SOCKET": manager.getsockname(), **more}


# Messages as sd_notify(3) of systemd lists them: READY=1, STOPPING=1, STATUS=…, WATCHDOG=1.
def test_the_messages_are_those_of_the_protocol(manager: socket.socket) -> None:
    notifier = Notifier(environment(manager, WATCHDOG_USEC="30000000"))
    assert notifier.watchdog_s == 30.0
    notifier.ready()
    notifier.status("recording since\nnoon")
    notifier.alive()
    notifier.stopping()
    assert heard(manager) == ["READY=1", "STATUS=recording since noon", "WATCHDOG=1", "STOPPING=1"]


def test_the_same_status_is_sent_once(manager: socket.socket) -> None:
    notifier = Notifier(environment(manager))
    for words in ("recording", "recording", "not recording", "recording"):
        notifier.status(words)
    assert heard(manager) == ["STATUS=recording", "STATUS=not recording", "STATUS=recording"]


# sd_watchdog_enabled(3): the watchdog is meant for this process only if WATCHDOG_PID is unset or its own.
@pytest.mark.parametrize(
    ("variables", "limit_s"),
    [
        ({}, None),
        ({"WATCHDOG_USEC": "20000000", "WATCHDOG_PID": str(os.getpid())}, 20.0),
        ({"WATCHDOG_USEC": "20000000", "WATCHDOG_PID": "1"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
    ],
)
def test_a_sign_of_life_only_where_one_is_asked_for(
    manager: socket.socket, variables: dict[str, str], limit_s: float | None
) -> None:
    notifier = Notifier(environment(manager, **variables))
    assert notifier.watchdog_s == limit_s
    notifier.alive()
    assert heard(manager) == ([] if limit_s is None else ["WATCHDOG=1"])


@pytest.mark.skipif(not os.path.exists("/proc/net/unix"), reason="only Linux has the abstract namespace")  # noqa: PTH110
def test_an_abstract_socket_is_found() -> None:
    name = f"emberline-test-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind("\0" + name)
        Notifier({"NOTIFY_SOCKET": "@" + name}).ready()
        assert listener.recv(100) == b"READY=1"


def test_without_a_service_manager_nothing_is_sent_and_nothing_fails() -> None:
    notifier = Notifier({})
    notifier.ready()
    notifier.stopping()


def test_a_manager_that_is_gone_is_told_of_once(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    notifier = Notifier({"NOTIFY_SOCKET": str(tmp_path / "gone")})
    for _ in range(3):
        notifier.ready()
    assert len(caplog.records) == 1
