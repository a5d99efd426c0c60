"""What standard output and error can show, be they a terminal, a file, or another program."""

import codecs
import io
import sys
import unicodedata
from collections.abc import Mapping
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rich.console import Console

PLAIN: Mapping[str, str] = {
    "±": "+/-",
    "−": "-",
    "–": "-",
    "°": "deg",
    "·": "-",
    "×": "x",
    "●": "*",
    "◐": "+",
    "○": "o",
    "▓": "#",
    "█": "#",
    "░": ".",
}
"""What stands for a sign in an encoding that has none for it; others lose their accents, or become a question mark."""

_HANDLER = "emberline.plain"


def fit_streams() -> None:
    """Have standard output and error show each sign as well as their encoding can, instead of failing at it."""
    codecs.register_error(_HANDLER, _plainer)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=_HANDLER)


def echo_utf8(document: str) -> None:
    """Print a document for other programs, which expect UTF-8 whatever the locale is (JSON: RFC 8259, section 8.1)."""
    click.echo(document.encode(), nl=False)


def can_draw(console: "Console") -> bool:
    """Return whether lines can be drawn over: on a terminal that moves its cursor."""
    return console.is_terminal and not console.is_dumb_terminal


def _plainer(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    signs = error.object[error.start : error.end]
    return "".join(PLAIN.get(sign) or _without_accents(sign) for sign in signs), error.end


def _without_accents(sign: str) -> str:
    return unicodedata.normalize("NFKD", sign).encode("ascii", "ignore").decode() or "?"
