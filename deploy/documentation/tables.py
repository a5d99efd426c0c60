"""Lays rows out as a table in Markdown."""

from collections.abc import Iterable, Sequence


def table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a table with one line a row."""
    lines = [heads, ["---"] * len(heads), *rows]
    return "".join(f"| {' | '.join(_cell(text) for text in line)} |\n" for line in lines)


def code(text: str) -> str:
    """Return a text as code; nothing for nothing."""
    return f"`{text}`" if text else ""


def _cell(text: str) -> str:
    return " ".join(text.replace("|", "\\|").split())
