"""Comparisons of stored trials for pages, worked out in a process of their own.

That process alone loads what draws and compares: it takes as much memory as all the rest of a daemon, and seconds on
a small computer.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from emberline.service.apart import called_apart

LIMIT_S = 60.0


@dataclass(frozen=True, slots=True)
class Query:
    """What a person wants to compare: by factors, a planned series, or groups of trials.

    Attributes:
        by: Factors.
        where: Levels of factors that a trial must have.
        series: Name of a planned series, or empty.
        groups: Ids of trials by group.
        results: Names of results; the main ones where none is named.
        wished: The difference to be shown, in the unit of the first result.
    """

    by: tuple[str, ...] = ()
    where: Mapping[str, str] = field(default_factory=dict)
    series: str = ""
    groups: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    results: tuple[str, ...] = ()
    wished: float | None = None


async def compared(store: Path, query: Query) -> dict[str, Any]:
    """Return what `Comparer.parts` returns, without holding up any reading.

    Raises:
        ApartError: The process failed.
    """
    found: dict[str, Any] = await _asked(store, "parts", query)
    return found


async def card_of(store: Path, query: Query, title: str, square: bool, picture: str) -> bytes | str:
    """Return what `Comparer.card` returns, without holding up any reading.

    Raises:
        ApartError: The process failed.
    """
    found: bytes | str = await _asked(store, "card", query, title, square, picture)
    return found


async def _asked(store: Path, method: str, *arguments: object) -> Any:
    return await called_apart(_ask, store, method, *arguments, name="the comparison", limit_s=LIMIT_S)


def _ask(store: Path, method: str, *arguments: object) -> Any:
    """Ask in the process apart."""
    from emberline.service.comparing import Comparer

    return getattr(Comparer(store), method)(*arguments)
