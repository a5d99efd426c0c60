"""Files that a person asked for: written whole, or refused with what to do."""

import contextlib
from pathlib import Path

from emberline.bench.bench_template import bench_template


class OutputError(Exception):
    """A file cannot be written; the message says what to do."""


def write_bench_file(target: Path) -> None:
    """Write the commented bench file that a person starts from.

    Raises:
        OutputError: The file exists, or cannot be written.
    """
    write_new(target, bench_template())


def refuse_existing(target: Path) -> None:
    """Say at once that a file which takes time to make is in the way.

    Raises:
        OutputError: It exists.
    """
    if target.exists():
        raise OutputError(f"{target} exists and is left alone: name another file")


def write_new(target: Path, text: str) -> None:
    """Write a file that was not there.

    Raises:
        OutputError: It exists, or cannot be written.
    """
    refuse_existing(target)
    write_text(target, text)


def write_text(path: Path, text: str) -> None:
    """Write a file that appears when it is whole, and leaves nothing where there is no room for it.

    Raises:
        OutputError: It cannot be written.
    """
    unfinished = path.with_name(path.name + ".unfinished")
    try:
        unfinished.write_text(text, encoding="utf-8")
        unfinished.replace(path)
    except OSError as exc:
        with contextlib.suppress(OSError):
            unfinished.unlink(missing_ok=True)
        raise OutputError(f"cannot write {path}: {exc.strerror or exc}") from exc


def make_folder(path: Path) -> None:
    """Make a folder unless it is there.

    Raises:
        OutputError: It cannot be made.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as exc:
        raise OutputError(f"cannot make the folder {path}: {exc.strerror or exc}") from exc
