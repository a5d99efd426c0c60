"""The thread that owns an open serial port: bytes in, stamped on arrival; bytes out; closed within a limit.

A blocking thread is used because closing a port through an event loop can wait for ever for bytes that no device takes.
Nothing here waits for the output to drain.
"""

import asyncio
import contextlib
import logging
import sys
import threading
from collections.abc import Callable

import serial

if sys.platform != "win32":
    import termios

from emberline.links.errors import LinkError, LinkLostError
from emberline.links.from_thread import EventLoopSide
from emberline.links.ports import PortBusyError, PortDeniedError, PortMissingError, denied_words, holders

LOG = logging.getLogger(__name__)

MAX_HELD_BYTES = 64 * 1024
"""Received bytes that may wait for the event loop; at more the thread stops reading, so that the source slows down."""
MAX_UNSENT_BYTES = 4096
"""Bytes that may wait to be sent. What does not fit is dropped and counted: all of it is repeated when it matters."""
READ_LIMIT_S = 0.25
WRITE_LIMIT_S = 1.0
OPEN_LIMIT_S = 10.0
CLOSE_LIMIT_S = 1.0
PORT_ERRORS: tuple[type[Exception], ...] = (OSError,)
"""What a port raises whose device is gone; pyserial's own error is an `OSError`."""
if sys.platform != "win32":
    PORT_ERRORS = (OSError, termios.error)


class SerialIO:
    """One open port.

    Attributes:
        path: The port.
        dropped: Bytes that could not be sent.
    """

    def __init__(self, path: str, baud: int, now_ns: Callable[[], int]) -> None:
        """Use `open`."""
        self.path = path
        self.dropped = 0
        self._baud = baud
        self._now_ns = now_ns
        self._loop_side = EventLoopSide()
        self._news = asyncio.Event()
        self._ended = asyncio.Event()
        self._room = threading.Condition()
        self._received: list[tuple[bytes, int]] = []
        self._held = 0
        self._unsent = bytearray()
        self._closing = False
        self._failure: str | None = None
        self._port: serial.Serial | None = None
        # A daemon thread: a driver that hangs in open or close must not keep the program from ending.
        self._thread = threading.Thread(target=self._work, name=f"serial {path}", daemon=True)

    @classmethod
    async def open(cls, path: str, baud: int, now_ns: Callable[[], int], limit_s: float = OPEN_LIMIT_S) -> "SerialIO":
        """Open a port for this program alone.

        Args:
            path: The port.
            baud: Bits a second.
            now_ns: Clock that stamps what arrives.
            limit_s: Longest wait, real seconds.

        Raises:
            PortBusyError, PortMissingError, PortDeniedError: As they say.
            LinkError: It cannot be opened for another reason, or not within the limit.
        """
        link = cls(path, baud, now_ns)
        link._thread.start()
        try:
            async with asyncio.timeout(limit_s):
                await link._loop_side.opened
        except TimeoutError as exc:
            link._closing = True
            raise LinkError(
                f"opening {path} took longer than {limit_s:.0f} s: unplug the device and try again"
            ) from exc
        return link

    async def received(self, limit_s: float) -> list[tuple[bytes, int]]:
        """Return what has arrived, each piece with its time; nothing if nothing came within the limit.

        Raises:
            LinkLostError: The link broke; what had arrived before was returned already.
        """
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(limit_s):
                await self._news.wait()
        self._news.clear()
        with self._room:
            pieces, self._received, self._held = self._received, [], 0
            self._room.notify()
        if not pieces and self._failure is not None:
            raise LinkLostError(f"{self.path}: {self._failure}")
        if self._failure is not None:
            self._news.set()
        return pieces

    def send(self, data: bytes) -> None:
        """Have bytes sent soon; never waits."""
        if not data:
            return
        with self._room:
            if len(self._unsent) + len(data) > MAX_UNSENT_BYTES:
                self.dropped += len(data)
                return
            self._unsent += data
        self._wake()

    async def close(self, limit_s: float = CLOSE_LIMIT_S) -> bool:
        """Close the port; after the limit (real seconds) its thread is left to itself. Return whether it closed."""
        self._closing = True
        with self._room:
            self._room.notify()
        self._wake()
        try:
            async with asyncio.timeout(limit_s):
                await self._ended.wait()
        except TimeoutError:
            LOG.warning("%s did not close within %.0f s and was given up", self.path, limit_s)
            return False
        self._thread.join()
        return True

    def _wake(self) -> None:
        port = self._port
        if port is not None:
            # The thread may be closing the port at this moment, and then has no pipe to be woken by.
            with contextlib.suppress(OSError, TypeError, AttributeError):
                port.cancel_read()

    # The thread

    def _work(self) -> None:
        try:
            port = opened_port(self.path, self._baud)
        except LinkError as error:
            self._loop_side.tell_opened(error)
            self._loop_side.tell(self._ended.set)
            return
        self._port = port
        self._loop_side.tell_opened()
        try:
            while not self._closing:
                self._step(port)
        except PORT_ERRORS as error:
            LOG.debug("%s: %s", self.path, error)
            self._failure = "the device is gone"
        self._port = None
        with contextlib.suppress(*PORT_ERRORS):
            # What the device never took is thrown away, else the system may wait half a minute for it.
            port.reset_output_buffer()
        with contextlib.suppress(*PORT_ERRORS):
            port.close()
        self._loop_side.tell(self._news.set)
        self._loop_side.tell(self._ended.set)

    def _step(self, port: serial.Serial) -> None:
        data = port.read(max(1, port.in_waiting))
        if data:
            now_ns = self._now_ns()
            with self._room:
                while self._held >= MAX_HELD_BYTES and not self._closing:
                    self._room.wait(READ_LIMIT_S)
                self._received.append((data, now_ns))
                self._held += len(data)
            self._loop_side.tell(self._news.set)
        with self._room:
            unsent, self._unsent = bytes(self._unsent), bytearray()
        if unsent:
            try:
                port.write(unsent)
            except serial.SerialTimeoutException:
                self.dropped += len(unsent)


def opened_port(path: str, baud: int) -> serial.Serial:
    """Open a port for this program alone.

    Raises:
        LinkError: As `SerialIO.open`.
    """
    try:
        port = serial.Serial(path, baud, timeout=READ_LIMIT_S, write_timeout=WRITE_LIMIT_S, exclusive=True)
    except PORT_ERRORS as error:
        raise _named(path, error) from error
    _keep_lines_at_close(port)
    return port


def _named(path: str, error: Exception) -> LinkError:
    """Return our own error for a port that does not open."""
    text = str(error)
    if "exclusively lock" in text or "Device or resource busy" in text:
        who = ", ".join(holders(path)) or "another program of another user"
        return PortBusyError(f"{path} is open in {who}: end that program, or name another port")
    if isinstance(error.__context__, PermissionError) or "Permission denied" in text:
        return PortDeniedError(denied_words(path))
    if "No such file" in text:
        return PortMissingError(f"there is no port '{path}': is the device plugged in?")
    return LinkError(f"{path} cannot be opened: {text}")


def _keep_lines_at_close(port: serial.Serial) -> None:
    """Keep the modem lines up at close, so that the next opening does not reset the board, where the system can."""
    if sys.platform != "win32":
        with contextlib.suppress(*PORT_ERRORS):
            attributes = termios.tcgetattr(port.fileno())
            attributes[2] &= ~termios.HUPCL
            termios.tcsetattr(port.fileno(), termios.TCSANOW, attributes)
