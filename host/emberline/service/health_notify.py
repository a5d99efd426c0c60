"""What a service manager is told: that recording has begun, that it goes on, that it ends.

The protocol is that of sd_notify(3): datagrams of `NAME=value` lines to the Unix socket that `NOTIFY_SOCKET` names.
Where the variable is not set, nothing is sent.
"""

import logging
import os
import socket
from collections.abc import Mapping

LOG = logging.getLogger(__name__)

SOCKET_VARIABLE = "NOTIFY_SOCKET"
WATCHDOG_VARIABLE, WATCHDOG_PID_VARIABLE = "WATCHDOG_USEC", "WATCHDOG_PID"


class Notifier:
    """The way to the service manager.

    Attributes:
        watchdog_s: Longest time that it waits between two signs of life, seconds; None where it does not watch.
    """

    def __init__(self, environment: Mapping[str, str]) -> None:
        """Use the socket and the watchdog's time that the environment names, if it does."""
        self._path = environment.get(SOCKET_VARIABLE, "")
        self._told = ""
        self._broken = False
        self.watchdog_s = _watchdog_s(environment)

    def ready(self) -> None:
        """Tell that everything has started."""
        self._send("READY=1")

    def alive(self) -> None:
        """Give a sign of life, where one is asked for."""
        if self.watchdog_s is not None:
            self._send("WATCHDOG=1")

    def status(self, words: str) -> None:
        """Tell how it stands; the same words twice are sent once."""
        if words != self._told:
            self._told = words
            self._send(f"STATUS={' '.join(words.split())}")

    def stopping(self) -> None:
        """Tell that the end has begun."""
        self._send("STOPPING=1")

    def _send(self, message: str) -> None:
        if not self._path or not hasattr(socket, "AF_UNIX"):
            return
        # A leading @ stands for the zero byte of the abstract namespace: sd_notify(3), section Notes.
        address = "\0" + self._path[1:] if self._path.startswith("@") else self._path
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | getattr(socket, "SOCK_CLOEXEC", 0)) as line:
                line.setblocking(False)
                line.sendto(message.encode(), address)
        except OSError as error:
            if not self._broken:
                LOG.warning("the service manager cannot be told anything: %s", error.strerror or error)
            self._broken = True
        else:
            self._broken = False


def _watchdog_s(environment: Mapping[str, str]) -> float | None:
    """Return the watchdog's time, where it is meant for this process: sd_watchdog_enabled(3)."""
    microseconds, process = environment.get(WATCHDOG_VARIABLE, ""), environment.get(WATCHDOG_PID_VARIABLE, "")
    if not microseconds.isdecimal() or int(microseconds) == 0:
        return None
    if process and process != str(os.getpid()):
        return None
    return int(microseconds) * 1e-6
