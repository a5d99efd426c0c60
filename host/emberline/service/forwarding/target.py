"""The server as it answers: taken, not now, not this row, not at all."""

from collections.abc import Sequence
from contextlib import suppress
from typing import Any

from emberline.service.errors import ServiceError
from emberline.service.forwarding.server_file import TimeSeriesServer

LIMIT_S = 4.0
"""Of one request, so that a hung server never holds up the end of the program."""


class NotNowError(ServiceError):
    """The server takes nothing now; it may later.

    Attributes:
        after_s: When it wants to be asked again; None where it does not say.
    """

    def __init__(self, message: str, after_s: float | None = None) -> None:
        super().__init__(message)
        self.after_s = after_s


class RefusedError(ServiceError):
    """Something about these rows is wrong, and sending them again as they are will not help."""


class TooLargeError(ServiceError):
    """These rows are too many at once."""


class ShutOutError(ServiceError):
    """The server does not know this program, or has no such bucket: a person has to see to it."""


class Target:
    """Sends rows by influxdb-client's synchronous write API, one request at a time; call it from a thread."""

    def __init__(self, server: TimeSeriesServer) -> None:
        """Prepare; nothing is sent yet.

        Raises:
            ConfigError: The token's file cannot be read.
        """
        from influxdb_client.client.influxdb_client import InfluxDBClient
        from influxdb_client.client.write_api import SYNCHRONOUS
        from urllib3 import Retry

        self._server = server
        # The cursor on the disk is the only memory of what is still to be sent: the client itself tries once.
        self._client: Any = InfluxDBClient(
            url=server.url,
            token=server.token(),
            org=server.organisation or "-",
            timeout=int(LIMIT_S * 1_000),
            retries=Retry(0),
            enable_gzip=True,
        )
        self._api: Any = self._client.write_api(write_options=SYNCHRONOUS)

    def send(self, lines: Sequence[str]) -> None:
        """Send rows, and return once the server has them all.

        Raises:
            NotNowError: It is away, slow, full or busy.
            RefusedError: A row is wrong.
            TooLargeError: They are too many.
            ShutOutError: It does not let this program in.
        """
        from influxdb_client.domain.write_precision import WritePrecision
        from influxdb_client.rest import ApiException
        from urllib3.exceptions import HTTPError

        if not lines:
            return
        try:
            self._api.write(
                bucket=self._server.bucket,
                org=self._server.organisation or "-",
                record="\n".join(lines).encode(),
                write_precision=WritePrecision.NS,
            )
        except ApiException as error:
            answer: Any = error
            after = (answer.headers or {}).get("Retry-After")
            raise _meaning(answer.status, _words(answer.body), after) from error
        except (HTTPError, OSError) as error:
            raise NotNowError(f"the server {self._server.url} does not answer: {_short(error)}") from error

    def close(self) -> None:
        """Close the connection."""
        with suppress(Exception):  # nothing is left to be lost: the cursor is on the disk
            self._api.close()
            self._client.close()


def _meaning(status: int, words: str, after: str | None) -> ServiceError:
    told = f"the server answers {status}{f': {words}' if words else ''}"
    match status:
        case 400 | 422:
            return RefusedError(told)
        case 413:
            return TooLargeError(told)
        case 401 | 403 | 404:
            return ShutOutError(f"{told}: see to its address, bucket and token")
        case _:
            return NotNowError(told, _seconds(after))


def _seconds(after: str | None) -> float | None:
    try:
        return None if after is None else max(0.0, float(after))
    except ValueError:
        return None


def _words(body: object) -> str:
    text = body.decode("utf-8", "replace") if isinstance(body, bytes) else str(body or "")
    return " ".join(text.split())[:300]


def _short(error: Exception) -> str:
    return (str(error) or type(error).__name__)[:200]
