"""Photos of trials."""

import sqlite3
from dataclasses import dataclass

from emberline.store import trials
from emberline.store.errors import TooManyPhotosError, UnknownPhotoError

MOST_PHOTOS = 60
"""Photos of one trial; each takes some hundred kilobytes of the store, and of every backup."""


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo of a trial, without its picture.

    Attributes:
        id: Its number within the store.
        trial: Id of the trial.
        taken_ns: When it came in, UTC nanoseconds.
        width: Pixels.
        height: Pixels.
    """

    id: int
    trial: str
    taken_ns: int
    width: int
    height: int


def add(connection: sqlite3.Connection, trial: str, taken_ns: int, size: tuple[int, int], content: bytes) -> int:
    """Keep a photo and return its number.

    Args:
        connection: Within a transaction.
        trial: Id of the trial.
        taken_ns: When it came in, UTC nanoseconds.
        size: Width and height, pixels.
        content: The picture, JPEG.

    Raises:
        UnknownTrialError: No trial has that id.
        TooManyPhotosError: The trial has as many as there may be.
    """
    trials.get(connection, trial)
    (count,) = connection.execute("SELECT count(*) FROM photos WHERE trial = ?", (trial,)).fetchone()
    if count >= MOST_PHOTOS:
        raise TooManyPhotosError(f"a trial keeps {MOST_PHOTOS} photos: remove one first")
    row = connection.execute(
        "INSERT INTO photos (trial, taken_ns, width, height, content) VALUES (?, ?, ?, ?, ?)",
        (trial, taken_ns, *size, content),
    )
    return int(row.lastrowid or 0)


def listed(connection: sqlite3.Connection, trial: str) -> list[Photo]:
    """Return the photos of a trial in order of time."""
    rows = connection.execute(
        "SELECT id, trial, taken_ns, width, height FROM photos WHERE trial = ? ORDER BY taken_ns, id", (trial,)
    )
    return [Photo(*row) for row in rows]


def content(connection: sqlite3.Connection, trial: str, photo: int) -> bytes:
    """Return the picture of a photo.

    Raises:
        UnknownPhotoError: The trial has none of that number.
    """
    row = connection.execute("SELECT content FROM photos WHERE trial = ? AND id = ?", (trial, photo)).fetchone()
    if row is None:
        raise UnknownPhotoError("the trial has no photo of this number")
    return bytes(row[0])


def remove(connection: sqlite3.Connection, trial: str, photo: int) -> None:
    """Remove a photo.

    Raises:
        UnknownPhotoError: The trial has none of that number.
    """
    if not connection.execute("DELETE FROM photos WHERE trial = ? AND id = ?", (trial, photo)).rowcount:
        raise UnknownPhotoError("the trial has no photo of this number")
