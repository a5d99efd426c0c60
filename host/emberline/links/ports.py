"""Serial ports: which one is meant, and who holds it when it cannot be had."""

import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from serial.tools import list_ports

from emberline.bench.bench_file import SerialPort
from emberline.links.errors import LinkError

PROCESSES = Path("/proc")


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
        if sys.platform != "win32" and not Path(wanted.port).exists():
            raise PortMissingError(f"there is no {wanted.port}: is the device plugged in?")
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
    return [UsbPort(port.device, port.vid, port.pid, port.serial_number) for port in list_ports.comports()]


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
