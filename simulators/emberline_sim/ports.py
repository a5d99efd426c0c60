"""Where a simulated device's bytes go: a pseudo-terminal that looks like a serial port, or this process's memory."""

import contextlib
import os
import select
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from emberline_sim.errors import PortError


class Port(Protocol):
    """The device's end of a line."""

    def plug(self) -> None:
        """Make the line appear; does nothing if it is there."""

    def unplug(self) -> None:
        """Make the line vanish with everything on it; does nothing if it is gone."""

    def read(self) -> bytes:
        """Return what the host has sent, nothing if there is none; never waits."""

    def write(self, data: bytes) -> int:
        """Pass on what of `data` the line takes at once, and return how many bytes that was; never waits."""


class PtyPort:
    """A pseudo-terminal behind a link whose path stays the same when the terminal vanishes and comes again.

    Attributes:
        link: Path that the host opens.

    """

    def __init__(self, link: str | Path) -> None:
        self.link = Path(link)
        self._master: int | None = None

    def plug(self) -> None:
        """Make the line appear.

        Raises:
            PortError: The link's path is taken by something that is no link, or cannot be written, or this system has
                no pseudo-terminals.

        """
        if self._master is not None:
            return
        master, slave = _open_pty()
        try:
            self._point_link_at(os.ttyname(slave))
        except (OSError, PortError):
            os.close(master)
            raise
        finally:
            os.close(slave)
        self._master = master

    def unplug(self) -> None:
        """Make the line vanish: a host that has it open gets an error, and the link is gone."""
        if self._master is None:
            return
        os.close(self._master)
        self._master = None
        with contextlib.suppress(FileNotFoundError):
            self.link.unlink()

    @property
    def opened(self) -> bool:
        """Whether a host has the port open."""
        if self._master is None:
            return False
        poll = select.poll()
        poll.register(self._master, 0)
        return not any(event & select.POLLHUP for _, event in poll.poll(0))

    def wait(self, at_most_s: float) -> None:
        """Wait until the host has sent something, but no longer than `at_most_s`."""
        if self._master is not None:
            poll = select.poll()
            poll.register(self._master, select.POLLIN)
            ready = poll.poll(at_most_s * 1000.0)
            if not ready or ready[0][1] == select.POLLIN:
                return
        time.sleep(at_most_s)

    def read(self) -> bytes:
        """Return what the host has sent; nothing while nobody has the port open."""
        if self._master is None:
            return b""
        try:
            return os.read(self._master, 4096)
        except OSError:
            return b""

    def write(self, data: bytes) -> int:
        """Pass on what the terminal takes at once."""
        if self._master is None:
            return 0
        try:
            return os.write(self._master, data)
        except OSError:
            return 0

    def _point_link_at(self, target: str) -> None:
        if self.link.exists() and not self.link.is_symlink():
            raise PortError(f"{self.link} exists and is no link: name another path for the port")
        fresh = self.link.with_name(self.link.name + ".new")
        try:
            fresh.unlink(missing_ok=True)
            fresh.symlink_to(target)
            fresh.replace(self.link)
        except OSError as exc:
            raise PortError(f"cannot make the link {self.link}: {exc.strerror}") from exc


def _open_pty() -> tuple[int, int]:
    """Return both ends of a fresh pseudo-terminal that changes no byte and whose near end never waits.

    Raises:
        PortError: This system has none, or none to spare.

    """
    try:
        # Missing on a system without terminals of this kind, where `--write-files` still works.
        import termios
        import tty

        open_pty = os.openpty
    except (ImportError, AttributeError) as exc:
        raise PortError("this system has no pseudo-terminals: write files instead (--write-files FOLDER)") from exc
    try:
        master, slave = open_pty()
    except OSError as exc:
        raise PortError(f"no pseudo-terminal can be had: {exc.strerror}") from exc
    try:
        tty.setraw(slave)
        os.set_blocking(master, False)
    except (OSError, termios.error) as exc:
        os.close(master)
        os.close(slave)
        raise PortError(f"a pseudo-terminal cannot be set up: {exc}") from exc
    return master, slave


@contextlib.contextmanager
def plugged_in(port: Port) -> Iterator[None]:
    """Keep a port plugged in, and take it away at the end whatever happens."""
    port.plug()
    try:
        yield
    finally:
        port.unplug()


class MemoryPort:
    """A line within one process; `host_read` and `host_write` are its other end.

    Attributes:
        plugged: Whether the line is there.
        room: Bytes that fit on it towards the host, as in an operating system's buffer.

    """

    def __init__(self, room: int = 4096) -> None:
        self.plugged = False
        self.room = room
        self._to_host = bytearray()
        self._to_device = bytearray()

    def plug(self) -> None:
        """Make the line appear."""
        self.plugged = True

    def unplug(self) -> None:
        """Make the line vanish with everything on it."""
        self.plugged = False
        self._to_host.clear()
        self._to_device.clear()

    def read(self) -> bytes:
        """Return what the host has sent."""
        data = bytes(self._to_device)
        self._to_device.clear()
        return data

    def write(self, data: bytes) -> int:
        """Pass on what there is room for."""
        taken = data[: self.room - len(self._to_host)] if self.plugged else b""
        self._to_host += taken
        return len(taken)

    def host_read(self) -> bytes:
        """Return what the device has sent."""
        data = bytes(self._to_host)
        self._to_host.clear()
        return data

    def host_write(self, data: bytes) -> None:
        """Send to the device; lost while unplugged."""
        if self.plugged:
            self._to_device += data
