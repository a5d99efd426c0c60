"""A Mosquitto broker of a test's own, on a free port of this machine: stopped, frozen, made to forget as one likes."""

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

START_LIMIT_S = 10.0

CONFIG = """\
listener {port} 127.0.0.1
persistence {persistence}
persistence_location {folder}/
autosave_interval 1
autosave_on_changes true
max_inflight_messages 0
max_queued_messages 100000
max_queued_bytes 0
log_dest file {folder}/broker.log
log_type {log}
connection_messages true
"""
OPEN_TO_ALL = "allow_anonymous true\n"


def mosquitto() -> str:
    """Return the program's path, or skip the test with the reason."""
    # Debian keeps it where only the administrator's searches look.
    path = shutil.which("mosquitto", path=os.environ.get("PATH", "") + ":/usr/sbin:/usr/local/sbin")
    if path is None:
        pytest.skip("no mosquitto on this machine: deploy/debian-packages mosquitto")
    return path


def free_port() -> int:
    """Return a TCP port of this machine that nobody uses now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


class Broker:
    """One broker.

    Attributes:
        folder: Where its files lie.
        port: Its port; the same after a restart.
        host: Name under which it is reached.
    """

    host = "127.0.0.1"

    def __init__(self, folder: Path, *, more: str = OPEN_TO_ALL, persistence: bool = False, log: str = "all") -> None:
        """Describe a broker; `start` runs it.

        Args:
            folder: An empty folder of its own.
            more: Further lines of its configuration, after the listener's.
            persistence: Whether it remembers sessions and messages across a restart.
            log: What it writes into its log.
        """
        self.folder = folder
        self.port = free_port()
        self._more = more
        self._persistence = persistence
        self._log = log
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        """`HOST:PORT`."""
        return f"{self.host}:{self.port}"

    @property
    def pid(self) -> int:
        """Number of its process."""
        assert self._process is not None
        return self._process.pid

    @property
    def running(self) -> bool:
        """Whether its process is there."""
        return self._process is not None and self._process.poll() is None

    def start(self) -> None:
        """Start it and wait until it listens."""
        self.folder.mkdir(parents=True, exist_ok=True)
        # Started by the administrator, it gives its rights away, and then could not write here.
        user = "user root\n" if os.geteuid() == 0 else ""
        config = self.folder / "broker.conf"
        persistence = "true" if self._persistence else "false"
        text = CONFIG.format(port=self.port, folder=self.folder, persistence=persistence, log=self._log)
        config.write_text(user + text + self._more, encoding="utf-8")
        self._process = subprocess.Popen(
            [mosquitto(), "-c", str(config)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        deadline_s = time.monotonic() + START_LIMIT_S
        while True:
            with contextlib.suppress(OSError), socket.create_connection((self.host, self.port), timeout=1.0):
                return
            assert self.running, f"the broker did not start: {self.words()}"
            assert time.monotonic() < deadline_s, "the broker does not listen"
            time.sleep(0.01)

    def stop(self) -> None:
        """End it in order."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """End it at once, so that it writes nothing more."""
        self._end(signal.SIGKILL)

    def freeze(self) -> None:
        """Hold it still: connections stay open, and nothing answers. It may go on for a moment after the signal."""
        self._signal(signal.SIGSTOP)
        if self._process is not None:
            os.waitid(os.P_PID, self._process.pid, os.WSTOPPED | os.WNOWAIT)

    def thaw(self) -> None:
        """Let it go on."""
        self._signal(signal.SIGCONT)

    def words(self) -> str:
        """Return its log."""
        log = self.folder / "broker.log"
        return log.read_text(encoding="utf-8", errors="replace") if log.exists() else ""

    def _signal(self, number: int) -> None:
        assert self._process is not None
        self._process.send_signal(number)

    def _end(self, number: int) -> None:
        if self._process is None:
            return
        if self.running:
            # A frozen process takes no signal but the ones that end it outright.
            self._signal(signal.SIGCONT)
            self._signal(number)
        self._process.wait(timeout=10.0)
        self._process = None


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """Yield a running broker that forgets everything when it stops, and end it."""
    one = Broker(tmp_path / "broker")
    one.start()
    yield one
    one.kill()


@pytest.fixture
def broker_with_memory(tmp_path: Path) -> Iterator[Broker]:
    """Yield a running broker that keeps sessions and messages across a restart, and end it."""
    one = Broker(tmp_path / "broker", persistence=True)
    one.start()
    yield one
    one.kill()
