"""The guided burn on a page: one step a screen, for a phone in one hand."""

import asyncio
from collections.abc import AsyncGenerator, Mapping
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from uncertainties import ufloat
from uncertainties.core import to_affine_scalar

from emberline.curves.events import EventKind
from emberline.reports.figures import clock, half_width, plain
from emberline.reports.wording import EVENTS
from emberline.service.daemon import Daemon
from emberline.service.series_standing import open_series
from emberline.web.frame import REFUSED, as_json, done, page, refused, wants_json
from emberline.web.moment_field import whole
from emberline.web.stream import Stream

SHORTEST_S = 0.25
"""Time between two looks at the scale at least, real seconds."""
LONGEST_S = 1.0
TRAYED = ("fuel", "kindling", "starter", "water", "char", "unburnt")
"""Steps whose things may stand in a tray."""
PHASES = {"waiting": "waiting for fire", "char": "glowing char"}
_NO_KEY = {"act", "at", "offer", "series", "step"}


def guide_routes(daemon: Daemon) -> list[Route]:
    """Return the routes of a daemon's guided burns."""
    pages = GuidePages(daemon)
    return [
        Route("/bench/{bench}/guide", pages.show),
        Route("/bench/{bench}/guide/stream", pages.stream),
        Route("/bench/{bench}/guide", pages.answer, methods=["POST"]),
    ]


class GuidePages:
    """The guided burns of all benches of a daemon."""

    def __init__(self, daemon: Daemon) -> None:
        """Serve a daemon's guides."""
        self._daemon = daemon

    async def show(self, request: Request) -> Response:
        """Show the step that a bench's guide is at."""
        bench = self._bench(request)
        return await self._shown(bench, await self._daemon.guides.show(bench), {})

    async def stream(self, request: Request) -> Response:
        """Return what the scale shows, as it changes."""
        return Stream(self._looks(self._bench(request)))

    async def answer(self, request: Request) -> Response:
        """Do what a button or a form asks."""
        bench = self._bench(request)
        form = {key: str(value) for key, value in (await request.form()).items()}
        asked = asked_of(form)
        screen = await self._daemon.guides.ask(bench, asked)
        problems = screen["problems"]
        if problems:
            return refused(problems) if wants_json(request) else await self._shown(bench, screen, form)
        return done(request, f"/bench/{bench}/guide", _said(screen, asked))

    async def _shown(self, bench: str, screen: Mapping[str, Any], typed: Mapping[str, str]) -> Response:
        listed = screen["listed"]
        return page(
            "guide.html.j2",
            REFUSED if screen["problems"] else 200,
            bench=bench,
            screen=screen,
            look=look_of(screen),
            listed=None if listed is None else _amount(listed),
            trayed=screen["step"] in TRAYED,
            series=await asyncio.to_thread(open_series, self._daemon.store) if screen["ready"] else [],
            typed=typed,
            answered=sum(one["how"] != "" for one in screen["done"]),
        )

    async def _looks(self, bench: str) -> AsyncGenerator[dict[str, str], None]:
        board, version = self._daemon.lanes[bench].board, -1
        while True:
            await board.changed(version, LONGEST_S)
            version = board.version
            yield {"data": as_json(look_of(await self._daemon.guides.show(bench)))}
            await asyncio.sleep(SHORTEST_S)

    def _bench(self, request: Request) -> str:
        name = str(request.path_params["bench"])
        if name not in self._daemon.lanes:
            raise HTTPException(404, f"No bench {name!r} is recorded here.")
        return name


def asked_of(form: Mapping[str, str]) -> dict[str, Any]:
    """Return the request that a form means. A button's value may name an offer or a step: `take:1`, `go:fuel`."""
    act, _, which = form.get("act", "").partition(":")
    asked: dict[str, Any] = {"act": act}
    if "at" in form:
        asked["at"] = form["at"]
    if act == "begin":
        names = {key: form.get(key, "") for key in ("lot", "pot", "stove", "label")}
        flags = {key: key in form for key in ("as_last", "with_pot", "kindling")}
        pairs = [(form.get(f"factor_name_{n}", ""), form.get(f"factor_word_{n}", "")) for n in range(20)]
        # A condition that was emptied is one no more.
        factors = {name.strip(): word.strip() for name, word in pairs if name.strip()}
        return {**asked, **names, **flags, "with_pot": flags["with_pot"] or bool(names["pot"]), "factors": factors}
    if act == "go":
        asked["step"] = which
    if act == "open":
        asked["series"] = form.get("series", "")
    if act == "take" and (offer := whole(which)) is not None:
        asked["offer"] = offer
    asked["values"] = {key: text for key, text in form.items() if key not in _NO_KEY}
    return asked


def look_of(screen: Mapping[str, Any]) -> dict[str, Any]:
    """Return what of a screen changes while somebody looks at it, in words."""
    reading = screen["reading"]
    return {
        "step": screen["step"],
        "reading": None if reading is None else _reading(reading),
        "takes": screen["takes"],
        "offers": [{"label": _offer(one), "words": one["words"]} for one in screen["offers"]],
        "warnings": screen["warnings"],
        "wait": screen["wait"],
        "burn": None if screen["burn"] is None else _burn(screen["burn"]),
        "finish": None if screen["finish"] is None else screen["finish"],
    }


def _said(screen: Mapping[str, Any], asked: Mapping[str, Any]) -> str:
    done_now = next((one for one in screen["done"] if one["step"] == asked.get("at")), None)
    if done_now is None or not done_now["how"] or asked["act"] in ("back", "go"):
        return screen["title"]  # type: ignore[no-any-return]
    words = "skipped" if done_now["how"] == "skipped" else done_now["words"]
    return f"{done_now['title']}: {words}"


def _reading(reading: Mapping[str, Any]) -> dict[str, Any]:
    if reading["value"] is None:
        return {"value": "–", "half": "", "unit": reading["unit"], "words": "no reading", "steady": False}
    half = half_width(reading["u"], reading["unit"]) if reading["u"] and reading["steady"] else ""
    value = f"{reading['value']:.1f}".replace("-0.0", "0.0").replace("-", "−")
    words = reading["words"] if reading["steady"] else "not steady yet"
    return {"value": value, "half": half, "unit": reading["unit"], "words": words, "steady": reading["steady"]}


def _offer(offer: Mapping[str, Any]) -> str:
    alone = ", alone on the scale" if offer["how"] == "alone" else ""
    return f"Take {_amount(offer)}{alone}"


def _amount(value: Mapping[str, Any]) -> str:
    number = ufloat(value["value"], value["u"]) if value["u"] else to_affine_scalar(value["value"])
    return plain(number, value["unit"])


def _burn(burn: Mapping[str, Any]) -> dict[str, Any]:
    marks = burn["marks_ns"]
    zero = marks.get("lit", min(marks.values(), default=0))
    rows = sorted((at_ns, kind) for kind, at_ns in marks.items())
    return {
        "phase": PHASES.get(burn["phase"], burn["phase"]),
        "marks": [f"{EVENTS[EventKind(kind)]} {clock((at_ns - zero) / 1e9)}" for at_ns, kind in rows],
    }
