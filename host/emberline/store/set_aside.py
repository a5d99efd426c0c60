"""A damaged store makes room for a new one: it is renamed with its journal, never deleted, never appended to."""

from datetime import UTC, datetime
from pathlib import Path

from emberline.store.connection import JOURNALS
from emberline.store.errors import StorePlaceError


def set_aside(path: Path, now_ns: int) -> Path:
    """Rename a store and its journal, and return the store's new name.

    The journal keeps its place beside the store, since it may hold the newest commits.

    Args:
        path: The damaged store; nobody has it open.
        now_ns: UTC nanoseconds, for the name.

    Raises:
        StorePlaceError: The files cannot be renamed.
    """
    stamp = datetime.fromtimestamp(now_ns // 1_000_000_000, UTC).strftime("%Y%m%dT%H%M%SZ")
    target, count = path.with_name(f"{path.name}.damaged-{stamp}"), 1
    while target.exists():
        count += 1
        target = path.with_name(f"{path.name}.damaged-{stamp}-{count}")
    try:
        # The journal first: without its store beside it, SQLite would take it for a dead one's and delete it.
        for ending in (*JOURNALS, ""):
            file = path.with_name(path.name + ending)
            if file.exists():
                file.rename(target.with_name(target.name + ending))
    except OSError as exc:
        raise StorePlaceError(f"cannot set {path} aside: {exc.strerror or exc}") from exc
    return target
