"""The file that names a time-series server."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

from emberline.bench.errors import TextError
from emberline.bench.toml_reading import Quantity, Reading
from emberline.config import ConfigError, read_text

TOKEN_VARIABLE = "EMBERLINE_SERVER_TOKEN"  # noqa: S105 a name, no secret
"""Environment variable with the token, where the file names none."""
_EVERY = Quantity(0.0, 3_600.0, "s")


@dataclass(frozen=True)
class TimeSeriesServer:
    """A server that takes InfluxDB's line protocol. It holds no secret: that is read anew when it is needed.

    Attributes:
        url: Where it is, without a path.
        bucket: Bucket, or database.
        organisation: Organisation; empty where the server has none.
        every_s: A sample of each channel goes once in so many seconds; 0 for every sample.
        token_file: File with the token; None for the environment's.
        environment: The environment.
    """

    url: str
    bucket: str = "emberline"
    organisation: str = ""
    every_s: float = 1.0
    token_file: Path | None = None
    environment: Mapping[str, str] = field(default_factory=dict, repr=False)

    @property
    def name(self) -> str:
        """What the outbox calls it: another bucket is another server."""
        return f"{self.url} {self.organisation} {self.bucket}"

    def token(self) -> str:
        """Return the token; empty where there is none.

        Raises:
            ConfigError: Its file cannot be read.
        """
        if self.token_file is None:
            return self.environment.get(TOKEN_VARIABLE, "")
        return read_text(self.token_file, "token").strip()


def load_server(path: Path, environment: Mapping[str, str]) -> TimeSeriesServer:
    """Read a server's file.

    Args:
        path: The file; file names in it start from its folder.
        environment: The environment.

    Raises:
        ConfigError: It cannot be read, or has problems.
    """
    reading = Reading(read_text(path, "server file"))
    root = reading.root
    url = root.text("url")
    bucket, organisation = root.text("bucket"), root.text("organisation")
    every_s = root.number("every_s", _EVERY)
    token_file = root.text("token_file")
    root.close()
    if reading.readable and "url" not in root:
        reading.problem((), 'url is missing: where the server is, such as url = "http://127.0.0.1:8428"')
    elif url is not None and (why := _wrong(url)):
        reading.problem(("url",), why)
    if reading.problems:
        error = TextError(reading.problems)
        raise ConfigError(path, f"{path}: {error}", reading.problems)
    assert url is not None
    return TimeSeriesServer(
        url=url.rstrip("/"),
        bucket=bucket or "emberline",
        organisation=organisation or "",
        every_s=1.0 if every_s is None else every_s,
        token_file=None if token_file is None else path.parent / token_file,
        environment=environment,
    )


def _wrong(url: str) -> str:
    parts = urlsplit(url)
    if parts.scheme not in ("http", "https") or not parts.hostname:
        return f"{url!r} is no address of a server: write it like http://127.0.0.1:8428"
    if parts.username or parts.password:
        return "a secret does not belong into an address: put it into token_file"
    if parts.path.strip("/") or parts.query:
        return "the address ends with the port; what follows it is Emberline's to know"
    return ""
