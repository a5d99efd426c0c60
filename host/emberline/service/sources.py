"""Where a bench's readings come from, and where what happens on it is told: made from what a person has named."""

import hashlib
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from emberline.bench.bench_file import SerialPort
from emberline.config import BrokerAccess
from emberline.links.link import Link
from emberline.links.mqtt import MqttLink
from emberline.links.serial import SerialLink
from emberline.service.clock import Clock
from emberline.service.errors import ServiceError
from emberline.service.outlet import last_will
from emberline.service.standing_file import StandingFile
from emberline.service.unread_file import UnreadFile

NAME_FILE = "broker-name.txt"


@dataclass(frozen=True)
class Places:
    """Where the device is.

    Attributes:
        port: Its serial port, or None.
        broker: The way to its broker, or None. With a port as well, the broker is only told what happens.
    """

    port: SerialPort | None = None
    broker: BrokerAccess | None = None


def make_links(
    places: Places, folder: Path, bench: str, clock: Clock, names: Mapping[str, str], standing: StandingFile
) -> tuple[Link, MqttLink | None]:
    """Return the link that brings readings, and the one by which a broker is told what happens, if there is one.

    Args:
        places: What was named.
        folder: The data folder.
        bench: Id of the bench.
        clock: The daemon's clock.
        names: Channel names within the bench, by names on the device.
        standing: How far the device is stored.

    Raises:
        ServiceError: Nothing was named, or the data folder cannot be written to.
    """
    broker = None
    if places.broker is not None:
        broker = MqttLink(
            places.broker,
            bench,
            clock,
            name=session_name(broker_name(folder), bench),
            will=last_will(bench),
            reads=places.port is None,
            names=names,
            standing=standing.read(),
            remember=standing.keep,
            unread=UnreadFile(folder, bench).keep,
        )
    if places.port is not None:
        link = SerialLink(places.port, clock, names=names, standing=standing.read(), remember=standing.keep)
        return link, broker
    if broker is None:
        raise ServiceError("neither a serial port nor a broker is named")
    return broker, broker


def session_name(name: str, bench: str) -> str:
    """Return the name under which a broker knows the connection for one bench of a daemon."""
    return f"emberline{hashlib.sha256(f'{name} {bench}'.encode()).hexdigest()[:14]}"


def broker_name(folder: Path) -> str:
    """Return what the names under which brokers know the daemon of a data folder are made of; made up once and kept.

    MQTT 5 has every broker take names of 23 letters and digits (OASIS standard of 7 March 2019, section 3.1.3.1).

    Raises:
        ServiceError: It can be neither read nor written.
    """
    path = folder / NAME_FILE
    try:
        if path.exists() and (name := path.read_text(encoding="utf-8").strip()).isalnum():
            return name
        name = f"emberline{secrets.token_hex(7)}"
        path.write_text(name + "\n", encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ServiceError(f"{path} can be neither read nor written: {error}") from error
    return name
