"""Serial ports: which one is meant, and who holds it when it cannot be had."""

import os
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from serial.tools import list_ports

from emberline.bench.bench_file import SerialPort
from emberline.links.errors import LinkError

PROCESSES = Path("/proc")
BY_ID = Path("/dev/serial/by-id")


class PortMissingError(LinkError):
    """No such port is there now; it may come when the device is plugged in."""


class PortBusyError(LinkError):
    """Another program has the port open."""


class PortUnclearError(LinkError):
    """More than one port answers the description."""


class PortDeniedError(LinkError):
    """This user may not open the port."""


@dataclass(frozen=True, slots=True)
class UsbPort:
    """A serial port on USB as the system lists it."""

    path: str
    vendor_id: int | None
    product_id: int | None
    serial_number: str | None
    product: str | None = None

    @property
    def name(self) -> str:
        """The path, with what the device calls itself."""
        return f"{self.path} ({self.product})" if self.product else self.path


def find_port(wanted: SerialPort, listed: Iterable[UsbPort] | None = None) -> str:
    """Return the path of the port that is meant; a link is left for opening to follow.

    Args:
        wanted: Path, or USB numbers to search for.
        listed: Ports on USB; by default the system is asked.

    Raises:
        PortMissingError: It is not there.
        PortUnclearError: Several ports have these USB numbers.
    """
    if wanted.port is not None:
        # Not by a Path: it enters its parts in Python's table of names, each time anew while a port is waited for, and
        # the table grows by a megabyte once its places are taken.
        if sys.platform != "win32" and not os.access(wanted.port, os.F_OK):
            raise PortMissingError(f"there is no port '{wanted.port}': is the device plugged in?")
        return wanted.port
    found = [port for port in (usb_ports() if listed is None else listed) if _is_meant(port, wanted)]
    name = f"USB device {wanted.vendor_id or 0:04x}:{wanted.product_id or 0:04x}"
    if not found:
        raise PortMissingError(f"no serial port belongs to {name}: is the device plugged in?")
    if len(found) > 1:
        listing = ", ".join(f"{port.path} (serial_number = {port.serial_number!r})" for port in found)
        raise PortUnclearError(f"several ports belong to {name}: {listing}; put serial_number into the bench file")
    return found[0].path


def usb_ports() -> list[UsbPort]:
    """Return the serial ports on USB."""
    return [
        UsbPort(port.device, port.vid, port.pid, port.serial_number, port.product) for port in list_ports.comports()
    ]


def choose_port(listed: Iterable[UsbPort] | None = None, *, by_id: Path = BY_ID) -> tuple[str, str]:
    """Return the port that a person can only mean, by a name that stays, and why it is the one.

    Args:
        listed: Serial ports; by default the system is asked.
        by_id: Folder of lasting names.

    Raises:
        PortMissingError: No board is plugged in.
        PortUnclearError: It could be one of several.
    """
    ports = list(usb_ports() if listed is None else listed)
    boards = [port for port in ports if port.vendor_id is not None]
    if not boards:
        others = ", ".join(port.path for port in ports)
        raise PortMissingError(
            "no board is plugged in by USB: is its cable one for data, not only for charging?"
            + (f" Serial ports without USB: {others}; name one with --port" if others else "")
        )
    free = [port for port in boards if not holders(port.path)]
    if len(boards) > 1 and len(free) != 1:
        named = [f"--port {lasting_name(board.path, by_id)}  {board.product or ''}".rstrip() for board in boards]
        raise PortUnclearError("\n  ".join([f"{len(boards)} boards are plugged in: say which one it is with", *named]))
    board = free[0] if free else boards[0]
    why = "the only board on USB" if len(boards) == 1 else "the only board on USB that no other program has open"
    return lasting_name(board.path, by_id), f"{board.name}: {why}"


def lasting_name(path: str, by_id: Path = BY_ID) -> str:
    """Return a name of a port that stays the same after unplugging, or its path where there is none."""
    links = sorted(by_id.iterdir()) if by_id.is_dir() else []
    return next((str(link) for link in links if link.resolve() == Path(path).resolve()), path)


def denied_words(path: str) -> str:
    """Return what a person can do about a port that they may not open."""
    try:
        import grp  # missing on Windows, where ports have no groups

        group = grp.getgrgid(Path(path).stat().st_gid).gr_name
    except (ImportError, OSError, KeyError):
        group = ""
    if group in ("", "root"):
        return f"{path} may not be opened by this user: ask whoever looks after this machine"
    return (
        f"{path} may not be opened by this user. It belongs to the group {group}: run `sudo usermod -aG {group} $USER`,"
        " then log out and in again"
    )


def holders(path: str, processes: Path = PROCESSES) -> list[str]:
    """Return who has a port open, as `name (process 123)`, as far as this user may see it."""
    target = str(Path(path).resolve())
    found = []
    for process in sorted(processes.glob("[0-9]*")):
        try:
            if any(str(descriptor.readlink()) == target for descriptor in (process / "fd").iterdir()):
                found.append(f"{(process / 'comm').read_text(encoding='utf-8').strip()} (process {process.name})")
        except OSError:
            continue
    return found


def _is_meant(port: UsbPort, wanted: SerialPort) -> bool:
    if (port.vendor_id, port.product_id) != (wanted.vendor_id, wanted.product_id):
        return False
    return wanted.serial_number is None or port.serial_number == wanted.serial_number
