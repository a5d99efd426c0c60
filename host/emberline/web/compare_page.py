"""The comparison page: did the change help, how sure is that, and what can be shown to others."""

import asyncio
import csv
import io
from collections import Counter
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from starlette.datastructures import QueryParams
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from emberline.reports.catalogue import factor_values
from emberline.reports.wording import COMPARED, RESULTS, result_title
from emberline.service.comparisons import Query, card_of, compared
from emberline.service.daemon import Daemon
from emberline.service.series_standing import all_standings
from emberline.web.frame import page
from emberline.web.trial_words import entries_of
from emberline.web.trials_page import FACTOR

PICK = "pick."
"""Beginning of the name of a field that puts a trial into a group."""
GROUPS = ("A", "B", "C", "D")
MOST_PICKED = 100
"""Trials offered for picking; older ones are compared by factors."""


def compare_routes(daemon: Daemon) -> list[Route]:
    """Return the routes.

    Args:
        daemon: Whose store is looked through.
    """

    async def show(request: Request) -> Response:
        entries = [one for one in await asyncio.to_thread(entries_of, daemon.store) if not one.running]
        query, problem = query_of(request.query_params)
        asked = bool(query.by or query.series or query.groups)
        found: dict[str, Any] = {"refused": problem}
        if asked and not problem:
            found = await compared(daemon.store.path, query)
        shown = asked and not found["refused"]
        return page(
            "compare.html.j2",
            422 if found["refused"] else 200,
            entries=entries[: -MOST_PICKED - 1 : -1],
            factors=factor_values(entries),
            factor_field=FACTOR,
            pick_field=PICK,
            group_names=GROUPS,
            series=await asyncio.to_thread(_series, daemon),
            results={name: result_title(name) for name in RESULTS},
            chosen=query.results or COMPARED,
            picked=_picked(request.query_params),
            query=query,
            wished=request.query_params.get("wished", ""),
            refused=found["refused"],
            found=found if shown else None,
            same=urlencode(request.query_params.multi_items()),
        )

    async def card(request: Request) -> Response:
        query, problem = query_of(request.query_params)
        picture = request.path_params["picture"]
        if problem or picture not in ("png", "svg"):
            raise HTTPException(404, problem or "A card is a .png or an .svg.")
        title = request.query_params.get("title", "")[:200]
        drawn = await card_of(daemon.store.path, query, title, "square" in request.query_params, picture)
        if isinstance(drawn, str):
            raise HTTPException(404, drawn)
        kind = "image/png" if picture == "png" else "image/svg+xml"
        named = {"Content-Disposition": f'attachment; filename="comparison.{picture}"'}
        return Response(drawn, media_type=kind, headers=named)

    async def table(request: Request) -> Response:
        query, problem = query_of(request.query_params)
        found: dict[str, Any] = {"refused": problem} if problem else await compared(daemon.store.path, query)
        if found["refused"]:
            raise HTTPException(404, found["refused"])
        text = io.StringIO(newline="")
        writer = csv.writer(text, lineterminator="\n")
        burns = Counter(row.group for row in found["rows"] if not row.counts)
        writer.writerow(("Trial", "Group", "Burns in it", "Left out because", *found["columns"]))
        writer.writerows(
            (row.trial, row.group, burns[row.group] or "", row.counts, *row.cells) for row in found["rows"]
        )
        named = {"Content-Disposition": 'attachment; filename="comparison.csv"'}
        return Response(text.getvalue(), media_type="text/csv; charset=utf-8", headers=named)

    return [
        Route("/compare", show),
        Route("/compare/card.{picture}", card),
        Route("/compare/table.csv", table),
    ]


def query_of(asked: QueryParams) -> tuple[Query, str]:
    """Return what a page's address asks for, and what is wrong with it; empty if nothing is."""
    groups: dict[str, list[str]] = {}
    for trial, group in _picked(asked).items():
        groups.setdefault(group, []).append(trial)
    wished, problem = _wished(asked.get("wished", ""))
    results = tuple(name for name in asked.getlist("result") if name in RESULTS)
    query = Query(
        by=tuple(asked.getlist("by")),
        where={name.removeprefix(FACTOR): level for name, level in asked.items() if name.startswith(FACTOR) and level},
        series=asked.get("series", ""),
        groups={name: tuple(trials) for name, trials in sorted(groups.items())},
        results=results,
        wished=wished,
    )
    ways = bool(query.by) + bool(query.series) + bool(query.groups)
    if ways > 1:
        problem = "Compare in one way at a time: by factors, a series, or trials of your own choice."
    return query, problem


def _picked(asked: QueryParams) -> Mapping[str, str]:
    return {
        name.removeprefix(PICK): group for name, group in asked.items() if name.startswith(PICK) and group in GROUPS
    }


def _wished(text: str) -> tuple[float | None, str]:
    if not text.strip():
        return None, ""
    try:
        wished = float(text.replace(",", "."))
    except ValueError:
        return None, f"{text!r} is no number: write the difference you want to see shown, in the first result's unit."
    if not 0.0 < wished < 1e9:
        return None, "The difference you want to see shown is a number above zero."
    return wished, ""


def _series(daemon: Daemon) -> list[dict[str, Any]]:
    """Return all planned series, the newest first."""
    return [
        {
            "name": one.series.name,
            "factors": ", ".join(one.series.factors),
            "done": len(one.counting),
            "runs": len(one.series.runs),
            "next": None
            if one.next is None
            else ", ".join(f"{name} {level}" for name, level in one.next.factors.items()),
        }
        for one in reversed(all_standings(daemon.store))
    ]
