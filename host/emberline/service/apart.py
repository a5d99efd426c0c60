"""Work done in a process of its own, so that no reading waits for a detector or a plot.

The two sides exchange pickles over the process's standard input and output, each behind its length. The process ends at
the end of its input, so none is left behind when this program is killed.
"""

import asyncio
import contextlib
import os
import pickle
import struct
import sys
from collections.abc import Callable
from typing import Any, BinaryIO, TypeVar

from emberline.service.errors import ApartError
from emberline.service.heaps import keep_heaps_small, leaving_alone_what_stands
from emberline.service.processes import end_process

T = TypeVar("T")

LENGTH = struct.Struct("<Q")
NICENESS = 10
"""Readings go before results where the machine is short of time."""
CLOSE_LIMIT_S = 1.0


class Apart:
    """An object in a process of its own, whose methods are called from here one at a time."""

    def __init__(self, make: Callable[..., object], *arguments: object, name: str) -> None:
        """Prepare; `start` starts the process.

        Args:
            make: Makes the object; must be importable by its name.
            arguments: What it is called with; must be picklable.
            name: Name for messages.
        """
        self._made_by = (make, arguments)
        self._name = name
        self._process: asyncio.subprocess.Process | None = None

    @property
    def running(self) -> bool:
        """Whether the process runs."""
        return self._process is not None and self._process.returncode is None

    async def start(self) -> None:
        """Start the process; does nothing if it runs.

        Raises:
            ApartError: It cannot be started.
        """
        if self.running:
            return
        try:
            # A group of its own: an interrupt from the keyboard reaches this program alone, which decides what ends. No
            # session of its own: Linux shares its processors out to sessions first, and a niceness counts within one.
            self._process = await asyncio.create_subprocess_exec(
                sys.executable,
                "-m",
                "emberline.service.apart",
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.PIPE,
                process_group=0,
            )
            self._send(self._made_by)
        except OSError as error:
            raise ApartError(f"the process {self._name} cannot be started: {error.strerror or error}") from error

    async def call(self, method: str, *arguments: object, limit_s: float) -> Any:
        """Call a method and return what it returns.

        Args:
            method: Its name.
            arguments: What it is called with; must be picklable.
            limit_s: Longest wait, real seconds.

        Raises:
            ApartError: It failed, the process is gone, or the wait took too long.
        """
        process = self._process
        if process is None or process.stdout is None:
            raise ApartError(f"the process {self._name} was not started")
        answered = False
        try:
            self._send((method, arguments))
            async with asyncio.timeout(limit_s):
                (length,) = LENGTH.unpack(await process.stdout.readexactly(LENGTH.size))
                failed, value = pickle.loads(await process.stdout.readexactly(length))  # noqa: S301 from our own process
            answered = True
        except TimeoutError as error:
            raise ApartError(f"{self._name} took longer than {limit_s:.0f} s and was given up") from error
        except (asyncio.IncompleteReadError, OSError) as error:
            raise ApartError(f"the process {self._name} is gone: is there memory enough?") from error
        finally:
            if not answered:
                # An answer that comes too late would be taken for that to the next call.
                await self.close()
        if failed:
            raise ApartError(f"{self._name} failed: {value}")
        return value

    async def close(self) -> None:
        """End the process; what it does is given up."""
        process, self._process = self._process, None
        if process is None:
            return
        await end_process(process, CLOSE_LIMIT_S)
        # The transport keeps the pipes; asyncio has no public way to close them with the process gone.
        if process.stdin is not None:
            process.stdin.close()

    def _send(self, message: object) -> None:
        process = self._process
        if process is None or process.stdin is None:
            raise ApartError(f"the process {self._name} was not started")
        data = pickle.dumps(message)
        process.stdin.write(LENGTH.pack(len(data)) + data)


async def called_apart(function: Callable[..., T], *arguments: object, name: str, limit_s: float) -> T:
    """Call a function once in a process of its own, which ends with it, and return what it returns.

    Args:
        function: Must be importable by its name.
        arguments: What it is called with; must be picklable.
        name: Name for messages.
        limit_s: Longest wait, real seconds.

    Raises:
        ApartError: It failed, or took too long.
    """
    apart = Apart(_Called, function, name=name)
    try:
        await apart.start()
        returned: T = await apart.call("call", *arguments, limit_s=limit_s)
        return returned
    finally:
        await apart.close()


class _Called:
    """Calls one function."""

    def __init__(self, function: Callable[..., object]) -> None:
        self._function = function

    def call(self, *arguments: object) -> object:
        return self._function(*arguments)


def serve(received: BinaryIO, sent: BinaryIO) -> None:
    """Make an object and answer calls until the input ends; runs in the process apart."""
    with contextlib.suppress(EOFError, BrokenPipeError):
        make, arguments = _next(received)
        served = make(*arguments)
        with leaving_alone_what_stands():
            while True:
                _answer(served, received, sent)


def _answer(served: object, received: BinaryIO, sent: BinaryIO) -> None:
    method, given = _next(received)
    answer: tuple[bool, Any]
    try:
        answer = (False, getattr(served, method)(*given))
    except Exception as error:  # noqa: BLE001 handed to the caller, whatever it is
        answer = (True, f"{type(error).__name__}: {error}")
    data = pickle.dumps(answer)
    sent.write(LENGTH.pack(len(data)) + data)
    sent.flush()


def _next(received: BinaryIO) -> Any:
    head = received.read(LENGTH.size)
    if len(head) < LENGTH.size:
        raise EOFError
    return pickle.loads(received.read(LENGTH.unpack(head)[0]))  # noqa: S301 from our own process


def main() -> None:
    """Run as a process apart."""
    keep_heaps_small()
    if hasattr(os, "nice"):
        os.nice(NICENESS)
    with contextlib.suppress(BrokenPipeError), os.fdopen(os.dup(sys.stdout.fileno()), "wb") as sent:
        # Whatever a library prints must not get between the answers.
        os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
        serve(sys.stdin.buffer, sent)


if __name__ == "__main__":
    main()
