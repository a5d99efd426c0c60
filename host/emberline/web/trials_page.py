"""The page of all trials."""

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass
from math import nan
from urllib.parse import urlencode

from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from uncertainties import ufloat

from emberline.reports.catalogue import BEGAN, SORTS, Entry, Figure, Wanted, factor_values, find
from emberline.reports.figures import PLUS_MINUS_MEANS, plain
from emberline.reports.spark import HEIGHT, WIDTH, spark_path
from emberline.reports.wording import HEADLINES, result_meaning, result_title
from emberline.service.daemon import Daemon
from emberline.web.frame import page
from emberline.web.moment_field import whole
from emberline.web.trial_words import entries_of

FACTOR = "factor."
"""Beginning of the name of a field that chooses a factor's value."""
UP, DOWN = "up", "down"
FEW = 8
"""A scale ends at least at so many g/min, so that a list of weak fires does not look like one of strong ones."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the list.

    Attributes:
        entry: The trial.
        figures: Its headline results in words, by name; those that are not known are left out.
        path: Path of its small curve; empty where there is none.
        spoken: What that curve shows, in words.
    """

    entry: Entry
    figures: Mapping[str, str]
    path: str
    spoken: str


def trials_routes(daemon: Daemon) -> list[Route]:
    """Return the routes.

    Args:
        daemon: Whose store is looked through.
    """

    async def show(request: Request) -> Response:
        entries = await asyncio.to_thread(entries_of, daemon.store)
        wanted = wanted_of(request.query_params)
        found = find(entries, wanted)
        top = max([FEW, *(point for entry in found.entries for point in entry.spark if point is not None)])
        return page(
            "trials.html.j2",
            wanted=wanted,
            found=found,
            rows=[_row(entry, top) for entry in found.entries],
            top=round(top),
            any_trial=bool(entries),
            benches=sorted({entry.bench for entry in entries}),
            recorded=sorted(daemon.lanes),
            factors=factor_values(entries),
            factor_field=FACTOR,
            sorts={BEGAN: "When it began", **{name: result_title(name) for name in HEADLINES}},
            meanings={name: result_meaning(name) for name in HEADLINES},
            headlines=HEADLINES,
            sorted_by=lambda name: _address(wanted, sort=name, falling=_falling(wanted, name), number=1),
            paged=lambda number: _address(wanted, sort=wanted.sort, falling=wanted.falling, number=number),
            looked_for=bool(wanted.text or wanted.bench or wanted.factors),
            plus_minus=PLUS_MINUS_MEANS,
            width=WIDTH,
            height=HEIGHT,
        )

    return [Route("/trials", show)]


def wanted_of(query: QueryParams) -> Wanted:
    """Return what an address asks for; what it does not say well is left at its usual value."""
    sort = query.get("sort", BEGAN)
    chosen = {
        name.removeprefix(FACTOR): value for name, value in query.items() if name.startswith(FACTOR) and value != ""
    }
    return Wanted(
        " ".join(query.get("text", "").split()),
        chosen,
        query.get("bench", ""),
        sort if sort in SORTS else BEGAN,
        query.get("order", DOWN) != UP,
        whole(query.get("page", "")) or 1,
    )


def _falling(wanted: Wanted, name: str) -> bool:
    """Return which way a click on a column sorts: the other way where it is sorted by that already."""
    return not wanted.falling if wanted.sort == name else True


def _address(wanted: Wanted, *, sort: str, falling: bool, number: int) -> str:
    asked = {
        "text": wanted.text,
        "bench": wanted.bench,
        **{FACTOR + name: value for name, value in wanted.factors.items()},
        "sort": "" if sort == BEGAN else sort,
        "order": "" if falling else UP,
        "page": "" if number == 1 else str(number),
    }
    query = urlencode({name: value for name, value in asked.items() if value})
    return f"/trials?{query}" if query else "/trials"


def _row(entry: Entry, top: float) -> Row:
    figures = {name: _words(entry.results[name]) for name in HEADLINES if name in entry.results}
    known = [point for point in entry.spark if point is not None]
    spoken = f"Burning rate from lit on, up to {max(known):.1f} g/min" if known else ""
    return Row(entry, figures, spark_path(entry.spark, top), spoken)


def _words(figure: Figure) -> str:
    return plain(ufloat(figure.value, figure.u or nan), figure.unit)
