"""Whether a bench records, and the safety of what it has recorded: status, backup, check."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from emberline.app.output import OutputError
from emberline.app.stored import STORE_NAME
from emberline.store.errors import StoreError, StoreMissingError, StorePlaceError
from emberline.store.reader import StoreReader

STATUS_LIMIT_S = 5.0
"""A daemon that does not say within this time how it stands is stuck."""


@dataclass(frozen=True, slots=True)
class Standing:
    """What is known of a data folder's daemon.

    Attributes:
        document: Its health document; None where no daemon answers.
        why: Why none answers.
        newest_ns: Time of the newest stored reading, UTC nanoseconds, where no daemon answers and there is one.
    """

    document: dict[str, Any] | None
    why: str = ""
    newest_ns: int | None = None


def health_of(data: Path, bench: str | None = None) -> Standing:
    """Ask the daemon of a data folder how its recording stands; where there is none, look into the store.

    Args:
        data: Data directory.
        bench: The bench that is asked about; all of them where None.

    Raises:
        RequestError: The daemon records no such bench.
    """
    from emberline.service.control_client import ask
    from emberline.service.errors import NoDaemonError

    try:
        return Standing(dict(ask(data, {"do": "health", "bench": bench}, STATUS_LIMIT_S)["health"]))
    except NoDaemonError as error:
        why = str(error)
    try:
        return Standing(None, why, StoreReader(data / STORE_NAME).newest_ns())
    except StoreError:
        return Standing(None, why)


def make_backup(data: Path, target: Path, *, overwrite: bool = False) -> int:
    """Copy a data folder's store into one file, also while it records, and return the copy's size in bytes.

    Raises:
        StoreError: There is no store, or it cannot be read.
        OutputError: The copy cannot be written, or exists and is not to be replaced.
    """
    store = StoreReader(data / STORE_NAME)
    if not store.path.exists():
        raise StoreMissingError(f"there is no store in {data}: name its folder with --data")
    if target.is_dir():
        raise OutputError(f"{target} is a folder: name a file in it, like {target / 'burns-backup.sqlite3'}")
    try:
        store.backup(target, overwrite=overwrite)
    except StorePlaceError as error:
        raise OutputError(str(error)) from error
    return target.stat().st_size


def is_store(path: Path) -> Path | None:
    """Return the store that a path means: the file itself or the one in that folder; None where it means neither."""
    if path.is_dir():
        return path / STORE_NAME
    try:
        with path.open("rb") as file:
            # The first bytes of every SQLite database: https://sqlite.org/fileformat.html, section 1.3
            return path if file.read(16) == b"SQLite format 3\0" else None
    except OSError:
        return None


def check_store(path: Path) -> tuple[int, int]:
    """Read everything in a store, also while it records, and return its numbers of trials and of samples.

    Raises:
        StoreError: There is none, or something in it is damaged.
    """
    store = StoreReader(path)
    return len(store.trials()), store.check()
