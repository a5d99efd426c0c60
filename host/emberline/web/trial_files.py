"""The files of a trial's summary, as its page needs them: written by the final pass, only read here."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

FILES: Mapping[str, tuple[str, str]] = {
    "summary.json": ("application/json", "attachment"),
    "summary.html": ("text/html; charset=utf-8", "attachment"),
    "seconds.csv": ("text/csv; charset=utf-8", "attachment"),
    "curves.json": ("application/json", "inline"),
    "curves.svg": ("image/svg+xml", "inline"),
}
"""What can be fetched: its media type, and whether a browser shows or keeps it."""


@dataclass(frozen=True, slots=True)
class Parts:
    """The parts of a summary that stand on its trial's page, as HTML of our own making."""

    head: str
    rest: str


def folder_of(store: Path, trial: str) -> Path:
    """Return where the files of a trial are; `trial` must be an id that the store knows."""
    return store.parent / "trials" / trial


def read_parts(folder: Path) -> Parts | None:
    """Return the parts, or None where they have not been written yet."""
    try:
        told = json.loads((folder / "parts.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return Parts(told["head"], told["rest"])


def read_listing(folder: Path) -> str | None:
    """Return what a list shows of a trial that still runs, or None where its provisional summary is not there yet."""
    try:
        text = (folder / "listing.json").read_text(encoding="utf-8")
        json.loads(text)
    except (OSError, ValueError):
        return None
    return text
