"""Files and folders that a person names: the plan, the bench file, the data directory, and the secrets for a broker."""

import ssl
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TypeVar

from emberline.bench.bench_file import Bench, Broker, parse_bench
from emberline.bench.errors import Problem, TextError
from emberline.bench.plan import Plan, parse_plan
from emberline.bench.plan_table import PlanRow, read_plan_table

Parsed = TypeVar("Parsed")

DATA_VARIABLE = "EMBERLINE_DATA"
"""Environment variable that names the data directory."""

USER_VARIABLE, PASSWORD_VARIABLE = "EMBERLINE_MQTT_USER", "EMBERLINE_MQTT_PASSWORD"
"""Environment variables of the account on a broker, where the bench file says nothing."""

MQTT_PORT, MQTTS_PORT = 1883, 8883
"""Ports registered for MQTT, without and with TLS (IANA Service Name and Transport Protocol Port Number Registry)."""

DEFAULT_DATA = Path("emberline-data")
"""Data directory where neither option nor variable names one, in the current directory."""

_LARGEST_BYTES = 1_000_000
"""No plan or bench file is larger; a burn's CSV given by mistake is."""


class ConfigError(Exception):
    """A file or folder cannot be used.

    Attributes:
        path: Which one.
        problems: What is wrong with its text; empty where the text was never reached.
    """

    def __init__(self, path: Path, message: str, problems: tuple[Problem, ...] = ()) -> None:
        super().__init__(message)
        self.path = path
        self.problems = problems


@dataclass(frozen=True)
class BrokerAccess:
    """The way to a broker. It holds no secret: files and environment are read anew whenever they are needed.

    Attributes:
        broker: What the bench file says.
        folder: Where the file names in it start from.
        environment: The environment.
    """

    broker: Broker
    folder: Path
    environment: Mapping[str, str] = field(repr=False)

    @property
    def host(self) -> str:
        """Name or address of the broker."""
        return self.broker.host

    @property
    def port(self) -> int:
        """Its TCP port."""
        return self.broker.port or (MQTTS_PORT if self.broker.tls else MQTT_PORT)

    def user(self) -> str | None:
        """Return the name of the account, or None."""
        return self.broker.user or self.environment.get(USER_VARIABLE) or None

    def password(self) -> str | None:
        """Return the password, or None.

        Raises:
            ConfigError: Its file cannot be read.
        """
        if self.broker.password_file is None:
            return self.environment.get(PASSWORD_VARIABLE) or None
        return read_text(self._path(self.broker.password_file), "password file").strip("\r\n")

    def tls_context(self) -> ssl.SSLContext | None:
        """Return what an encrypted connection is checked by and names itself with; None for one that is not.

        Raises:
            ConfigError: A certificate or key cannot be read.
        """
        broker = self.broker
        if not broker.tls:
            return None
        authority = None if broker.ca_file is None else self._path(broker.ca_file)
        try:
            context = ssl.create_default_context(cafile=authority)
        except OSError as error:
            raise _unreadable(authority or self.folder, "certificate of an authority", error) from error
        if broker.certificate_file is not None and broker.key_file is not None:
            certificate, key = self._path(broker.certificate_file), self._path(broker.key_file)
            try:
                context.load_cert_chain(certificate, key)
            except OSError as error:
                raise _unreadable(certificate, f"certificate that goes with {key}", error) from error
        return context

    def _path(self, name: str) -> Path:
        return self.folder / Path(name).expanduser()


def check_certificate(certificate: Path, key: Path | None) -> None:
    """See to it that a certificate and its key can be used, before anything is served with them.

    Raises:
        ConfigError: They cannot.
    """
    try:
        # A key under a password would be asked for at the terminal, where nobody sits when the machine starts.
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, password=lambda: "")
    except OSError as error:
        what = "certificate with its key" if key is None else f"certificate that goes with {key}"
        raise _unreadable(certificate, what, error) from error


def broker_access(broker: Broker, folder: Path, environment: Mapping[str, str]) -> BrokerAccess:
    """Return the way to a broker, its files read once to see that they can be.

    Args:
        broker: What the bench file says.
        folder: Where the file names in it start from: the bench file's own folder.
        environment: The environment.

    Raises:
        ConfigError: A password, certificate or key cannot be read, or a password has no user.
    """
    access = BrokerAccess(broker, folder, environment)
    if access.password() is not None and access.user() is None:
        raise ConfigError(folder, f"a password for the broker needs a user: add it to [mqtt], or set {USER_VARIABLE}")
    access.tls_context()
    return access


def broker_named(text: str, known: Broker | None) -> Broker:
    """Return the broker that a person names as `HOST` or `HOST:PORT`, otherwise like the bench file's.

    Raises:
        ConfigError: The text names none.
    """
    host, colon, port = text.rpartition(":") if text.count(":") == 1 else (text, "", "")
    if not host or "/" in text or (colon and not (port.isdecimal() and 0 < int(port) < 65_536)):
        raise ConfigError(Path(text), f"{text!r} names no broker: write HOST or HOST:PORT, such as localhost:1883")
    return replace(known or Broker(host), host=host, port=int(port) if colon else None)


def load_plan(path: Path) -> Plan:
    """Read a plan file.

    Raises:
        ConfigError: for a file that cannot be read, or a text with problems, all of them listed.
    """
    return _load(path, parse_plan, "plan")


def load_plan_table(path: Path) -> tuple[PlanRow, ...]:
    """Read a table of plans.

    Raises:
        ConfigError: for a file that cannot be read, or a table with problems, all of them listed.
    """
    return _load(path, read_plan_table, "table of plans")


def load_bench(path: Path) -> Bench:
    """Read a bench file.

    Raises:
        ConfigError: for a file that cannot be read, or a text with problems, all of them listed.
    """
    return _load(path, parse_bench, "bench file")


def read_text(path: Path, what: str) -> str:
    """Read a small text file in UTF-8, with or without a byte order mark.

    Args:
        path: The file.
        what: What it should be, for messages.

    Raises:
        ConfigError: for a file that is missing, unreadable, too large or not UTF-8.
    """
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
    except FileNotFoundError as error:
        raise ConfigError(path, f"{path}: there is no such {what}: check the name and the folder") from error
    except IsADirectoryError as error:
        raise ConfigError(path, f"{path}: is a folder: name the {what} inside it") from error
    except OSError as error:
        raise ConfigError(path, f"{path}: cannot be read: {error.strerror or error}") from error
    if len(data) > _LARGEST_BYTES:
        raise ConfigError(path, f"{path}: is over 1 MB, too large for a {what}: is it the recorded data?")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ConfigError(path, f"{path}: line {line} is not UTF-8: save the {what} as UTF-8 text") from error


def data_directory(option: Path | None, environment: Mapping[str, str]) -> Path:
    """Return the data directory: the option, else the variable `EMBERLINE_DATA`, else `emberline-data` here.

    It need not exist.

    Raises:
        ConfigError: where the name belongs to something that is no directory.
    """
    named = environment.get(DATA_VARIABLE, "").strip()
    path = option if option is not None else Path(named).expanduser() if named else DEFAULT_DATA
    if path.exists() and not path.is_dir():
        raise ConfigError(path, f"{path}: is a file: name a folder with --data or {DATA_VARIABLE}")
    return path


def _load(path: Path, parse: Callable[[str], Parsed], what: str) -> Parsed:
    text = read_text(path, what)
    try:
        return parse(text)
    except TextError as error:
        lines = "\n".join(f"{path}: {problem}" for problem in error.problems)
        raise ConfigError(path, lines, error.problems) from error


def _unreadable(path: Path, what: str, error: OSError) -> ConfigError:
    why = "there is no such file" if isinstance(error, FileNotFoundError) else error.strerror or str(error)
    return ConfigError(path, f"{path}: cannot be used as the {what}: {why}")
