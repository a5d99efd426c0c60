"""What can go wrong with the store, each with what to do about it."""

import sqlite3


class StoreError(Exception):
    """Root of all errors of this package; the message says what to do."""


class StoreMissingError(StoreError):
    """There is no store at that place."""


class StoreBusyError(StoreError):
    """Another program writes to the store, or a wait ran over its limit."""


class StoreFullError(StoreError):
    """The disk has no room left; what was committed before is whole."""


class StoreUnwritableError(StoreError):
    """The disk takes nothing now: it is read-only, fails, or is gone; what was committed before is whole."""


class StoreDamagedError(StoreError):
    """The file is damaged, or is no database at all; nothing was appended to it."""


class StoreReplacedError(StoreError):
    """Another file has taken the store's name while it was open; nothing more is written to the old one."""


class StoreForeignError(StoreError):
    """The file is a sound database of another program; it is left alone."""


class StoreVersionError(StoreError):
    """The file was written by a newer version, or is older than a reader understands."""


class StorePlaceError(StoreError):
    """The file lies where SQLite cannot keep it safe, such as on a network share."""


class StoreClosedError(StoreError):
    """The store was closed already."""


class UnknownTrialError(StoreError):
    """No trial has that id."""


class UnknownSeriesError(StoreError):
    """No planned series has that name."""


class SeriesKnownError(StoreError):
    """A series of that name is planned already."""


class PackError(StoreError):
    """A pack cannot be read."""


class ArchiveError(StoreError):
    """An archive, or a file of one, cannot be read."""


class UnknownPhotoError(StoreError):
    """A trial has no photo of that number."""


class TooManyPhotosError(StoreError):
    """A trial has as many photos as it may have."""


class ExportError(StoreError):
    """An export cannot be written."""


def from_sqlite(error: sqlite3.Error) -> StoreError:
    """Return our own error for one of SQLite's."""
    code = getattr(error, "sqlite_errorcode", None)
    match code & 0xFF if isinstance(code, int) else None:
        case sqlite3.SQLITE_FULL:
            return StoreFullError("the disk is full: free some room; what was committed before is safe")
        case sqlite3.SQLITE_READONLY:
            return StoreUnwritableError(
                "the disk is read-only now: make it writable again, or look at whether it fails"
            )
        case sqlite3.SQLITE_IOERR | sqlite3.SQLITE_CANTOPEN:
            return StoreUnwritableError(f"the disk fails or is gone ({error}): check that it is connected and sound")
        case sqlite3.SQLITE_CORRUPT | sqlite3.SQLITE_NOTADB:
            return StoreDamagedError(
                f"the store is damaged or is no store ({error}): `emberline run` sets it aside and begins a new one"
            )
        case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
            return StoreBusyError("the store stayed locked by another program for 5 s: end that program or try again")
        case _:
            return StoreError(f"SQLite reports: {error}")
