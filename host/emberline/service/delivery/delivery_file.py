"""The file that says how alarms reach people who are not looking (TOML).

It stands apart from the bench file, which is passed on with a trial: a command in it would run on another's machine.
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from emberline.bench.errors import TextError
from emberline.bench.toml_reading import Quantity, Reading
from emberline.config import ConfigError, read_text

SERVICES_VARIABLE = "EMBERLINE_ALARM_SERVICES"
"""Environment variable with the addresses of services, where the file names none: parted by blanks."""
_MINUTES = Quantity(0.1, 1_440.0, "min")
_LIMIT = Quantity(0.5, 300.0, "s")
_OTHERS_MAY = 0o077


@dataclass(frozen=True)
class Services:
    """Where the addresses of services are. It holds none itself: they are secrets, and read anew when they are needed.

    Attributes:
        file: The file that holds them; None for the environment's.
        environment: The environment.
    """

    file: Path | None
    environment: Mapping[str, str] = field(repr=False)

    def addresses(self) -> list[str]:
        """Return the addresses.

        Raises:
            ConfigError: Their file cannot be read, or others may read it.
        """
        if self.file is None:
            return self.environment.get(SERVICES_VARIABLE, "").split()
        text = read_text(self.file, "file of services")
        if os.name == "posix" and self.file.stat().st_mode & _OTHERS_MAY:
            raise ConfigError(
                self.file, f"{self.file}: others on this machine may read these secrets: chmod 600 {self.file}"
            )
        lines = (line.strip() for line in text.splitlines())
        return [line for line in lines if line and not line.startswith("#")]


@dataclass(frozen=True)
class Delivery:
    """How alarms are delivered.

    Attributes:
        command: Words of a command that is run for each message; empty for none.
        command_limit_s: Time that it may take.
        services: Where the addresses of services are; None for no services.
        again_s: Time after which an alarm that nobody has acknowledged is delivered again, first.
        longest_again_s: Longest such time: each is twice the one before.
    """

    command: tuple[str, ...] = ()
    command_limit_s: float = 20.0
    services: Services | None = None
    again_s: float = 120.0
    longest_again_s: float = 1_800.0


def load_delivery(path: Path, environment: Mapping[str, str]) -> Delivery:
    """Read the file; secrets are read once to see that they can be.

    Args:
        path: The file; file names in it start from its folder.
        environment: The environment.

    Raises:
        ConfigError: It cannot be read, or has problems, or names no way.
    """
    usual = Delivery()
    reading = Reading(read_text(path, "file about alarms"))
    root = reading.root
    command, limit_s = root.texts("command"), root.number("command_limit_s", _LIMIT)
    services_file = root.text("services_file")
    again, longest = root.number("again_min", _MINUTES), root.number("longest_again_min", _MINUTES)
    root.close()
    again_s = usual.again_s if again is None else 60.0 * again
    longest_s = max(usual.longest_again_s, again_s) if longest is None else 60.0 * longest
    if longest_s < again_s:
        root.complain("longest_again_min", "longest_again_min is shorter than again_min")
    in_environment = bool(environment.get(SERVICES_VARIABLE, "").strip())
    if reading.readable and not command and services_file is None and not in_environment:
        reading.problem(
            (),
            'no way is named: write command = ["…"], or services_file = "…" with an address a line, or set'
            f" {SERVICES_VARIABLE}",
        )
    if reading.problems:
        error = TextError(reading.problems)
        raise ConfigError(path, f"{path}: {error}", reading.problems)
    services = None
    if services_file is not None or in_environment:
        services = Services(None if services_file is None else path.parent / services_file, environment)
        if not services.addresses():
            raise ConfigError(path, f"{path}: {services_file} holds no address of a service: write one a line")
    return Delivery(
        tuple(command or ()),
        usual.command_limit_s if limit_s is None else limit_s,
        services,
        again_s,
        longest_s,
    )
