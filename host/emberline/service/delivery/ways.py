"""The ways by which a message reaches people: a command of theirs, and services by the apprise package."""

import asyncio
import os
import signal
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Protocol

from emberline.config import ConfigError
from emberline.service.apart import called_apart
from emberline.service.delivery.delivery_file import Delivery, Services
from emberline.service.delivery.message import Message
from emberline.service.errors import ApartError, ServiceError

SERVICE_LIMIT_S = 60.0
"""Longest delivery to a service, real seconds; a small board takes some of them to load the package."""
MOST_SAID = 300


class UndeliveredError(ServiceError):
    """A message could not be delivered; it may be later."""


class Way(Protocol):
    """A way."""

    @property
    def name(self) -> str:
        """What it is called in messages."""

    async def deliver(self, message: Message) -> None:
        """Deliver a message.

        Raises:
            UndeliveredError: It could not be.
        """


@dataclass(frozen=True)
class Command:
    """A command, run without a shell.

    It finds the title and the text on its standard input, and what the message is about in its environment.

    Attributes:
        words: The program and its arguments.
        limit_s: Time that it may take, real seconds.
    """

    words: tuple[str, ...]
    limit_s: float

    @property
    def name(self) -> str:
        """What it is called in messages; arguments may hold secrets."""
        return f"the command {Path(self.words[0]).name}"

    async def deliver(self, message: Message) -> None:
        """Run it; see `Way.deliver`."""
        about = {"HAPPENING": message.happening, "BENCH": message.bench, "KIND": message.kind, "TITLE": message.title}
        # Secrets of this program's own are not for the command.
        others = {key: value for key, value in os.environ.items() if not key.startswith("EMBERLINE_")}
        environment = others | {f"EMBERLINE_ALARM_{key}": value for key, value in about.items()}
        try:
            process = await asyncio.create_subprocess_exec(
                *self.words,
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.DEVNULL,
                stderr=asyncio.subprocess.PIPE,
                env=environment,
                start_new_session=True,
            )
        except OSError as error:
            raise UndeliveredError(f"{self.name} cannot be run: {error.strerror or error}") from error
        try:
            async with asyncio.timeout(self.limit_s):
                _, said = await process.communicate(f"{message.title}\n{message.text}\n".encode())
        except TimeoutError as error:
            raise UndeliveredError(f"{self.name} took longer than {self.limit_s:g} s and was ended") from error
        finally:
            if process.returncode is None:
                # With all that it has started: its pipes would stay open else.
                with suppress(ProcessLookupError):
                    os.killpg(process.pid, signal.SIGKILL)
                await process.wait()
        if process.returncode:
            words = " ".join(said.decode("utf-8", "replace").split())[-MOST_SAID:]
            raise UndeliveredError(f"{self.name} ended with code {process.returncode}{f': {words}' if words else ''}")


@dataclass(frozen=True)
class Service:
    """One of the services whose addresses a person has put into a file, or into the environment.

    The package that reaches it runs in a process of its own, which alone reads the address: it is a secret, and the
    service is called by its number everywhere.

    Attributes:
        services: Where the addresses are.
        number: Which of them, from 1.
    """

    services: Services
    number: int

    @property
    def name(self) -> str:
        """What it is called in messages."""
        return f"service {self.number}"

    async def deliver(self, message: Message) -> None:
        """Reach it; see `Way.deliver`."""
        try:
            taken = await called_apart(
                notify,
                self.services.file,
                self.number,
                message.title,
                message.text,
                name=f"reaching {self.name}",
                limit_s=SERVICE_LIMIT_S,
            )
        except ApartError as error:
            raise UndeliveredError(str(error)) from error
        if not taken:
            raise UndeliveredError(f"{self.name} did not take the message: see to its address, and to the network")


def notify(file: Path | None, number: int, title: str, text: str) -> bool:
    """Reach a service and return whether it took a message; called in a process of its own.

    Raises:
        ConfigError: The addresses cannot be read.
    """
    import apprise

    addresses = Services(file, os.environ).addresses()
    service = apprise.Apprise()
    return number <= len(addresses) and service.add(addresses[number - 1]) and bool(service.notify(text, title))


def ways_of(delivery: Delivery, path: Path) -> Sequence[Way]:
    """Return the ways that a file names.

    Raises:
        ConfigError: It names services, and the package that reaches them is not installed.
    """
    ways: list[Way] = []
    if delivery.command:
        ways.append(Command(delivery.command, delivery.command_limit_s))
    if delivery.services is not None:
        if find_spec("apprise") is None:
            raise ConfigError(path, f"{path}: services need the extra alarms: pip install 'emberline[alarms]'")
        addresses = delivery.services.addresses()
        ways += [Service(delivery.services, number) for number in range(1, len(addresses) + 1)]
    return ways
