"""The live page of a bench: what it does now, and what a person beside the fire may do about it."""

import asyncio
from dataclasses import dataclass
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from emberline.curves.events import EventKind
from emberline.reports.wording import EVENTS
from emberline.service.control import MAX_NOTE
from emberline.service.daemon import Daemon
from emberline.service.desk import By, corrected_events
from emberline.service.errors import RequestError
from emberline.service.lane import Lane
from emberline.service.recall import Recall
from emberline.service.series_standing import open_series, plan_for_next
from emberline.store.errors import UnknownSeriesError
from emberline.store.records import Trial
from emberline.trials.alarms.co_watch import NO_SUBSTITUTE
from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.corrections import BY_HAND_U_S, CORRECTABLE, AddEvent, CorrectionError
from emberline.trials.live_document import HOT_CHAR
from emberline.web.burn_events import burn_rows, lit_s
from emberline.web.frame import REFUSED, done, page, refused, wants_json
from emberline.web.photos import photo_rows
from emberline.web.stream import Stream, Viewers, overview

REMARKS = ("smoke", "soot", "flame unsteady", "jets formed")
"""Remarks that one tap keeps."""
MOST_AGO_S = 3_600.0
AGO_U_SHARE = 0.1
"""Standard uncertainty of how long ago something was, as a share of it (common practice, no source)."""


@dataclass(frozen=True)
class BenchView:
    """A bench as its pages see it.

    Attributes:
        lane: What the daemon does for it.
        viewers: Those who watch it.
    """

    lane: Lane
    viewers: Viewers


class LivePages:
    """The pages of all benches of a daemon."""

    def __init__(self, daemon: Daemon) -> None:
        """Serve a daemon's benches."""
        self._daemon = daemon
        self._views: dict[str, BenchView] = {}

    def routes(self) -> list[Route]:
        """Return the routes."""
        return [
            Route("/", self.home),
            Route("/stream", self.stream_of_all),
            Route("/bench/{bench}", self.show),
            Route("/bench/{bench}/stream", self.stream),
            Route("/bench/{bench}/burn", self.burn),
            Route("/bench/{bench}/remark", self.remark, methods=["POST"]),
            Route("/bench/{bench}/stamp", self.stamp, methods=["POST"]),
            Route("/bench/{bench}/acknowledge", self.acknowledge, methods=["POST"]),
            Route("/bench/{bench}/arm", self.arm, methods=["POST"]),
            Route("/bench/{bench}/end", self.end, methods=["POST"]),
        ]

    def view(self, request: Request) -> BenchView:
        """Return the bench that a path names.

        Raises:
            HTTPException: There is none of that name.
        """
        name, lanes = request.path_params["bench"], self._daemon.lanes
        if name not in lanes:
            raise HTTPException(404, f"No bench {name!r} is recorded here, but {', '.join(sorted(lanes))}.")
        if name not in self._views:
            board = lanes[name].board
            self._views[name] = BenchView(lanes[name], Viewers(board, Recall(board, self._daemon.store)))
        return self._views[name]

    # What is shown

    async def home(self, request: Request) -> Response:
        """Show all benches, or the only one."""
        lanes = self._daemon.lanes
        if len(lanes) == 1:
            request.path_params["bench"] = next(iter(lanes))
            return await self.show(request)
        return page("benches.html.j2", benches=[lane.board.document() for _, lane in sorted(lanes.items())])

    async def show(self, request: Request) -> Response:
        """Show a bench."""
        return await self._shown(self.view(request))

    async def burn(self, request: Request) -> Response:
        """Return the part of the page that tells of the running burn: events, remarks, photos."""
        view = self.view(request)
        return page("burn.html.j2", **await self._burn(view, {}, {}))

    async def stream(self, request: Request) -> Response:
        """Return the stream of a bench."""
        view = self.view(request)
        return Stream(view.viewers.messages(request.headers.get("last-event-id", "")))

    async def stream_of_all(self, request: Request) -> Response:
        """Return the stream of all benches, without their curves."""
        return Stream(overview(self._daemon.boards))

    async def _shown(self, view: BenchView, refusals: dict[str, str] | None = None, typed: Any = None) -> Response:
        board = view.lane.board
        return page(
            "live.html.j2",
            REFUSED if refusals else 200,
            no_substitute=NO_SUBSTITUTE,
            several=len(self._daemon.lanes) > 1,
            live=board.document(),
            hot_char=HOT_CHAR,
            remarks=REMARKS,
            **await self._burn(view, refusals or {}, typed or {}),
        )

    async def _burn(self, view: BenchView, refusals: dict[str, str], typed: Any) -> dict[str, Any]:
        board, store = view.lane.board, self._daemon.store
        trial = None if board.trial is None else await asyncio.to_thread(store.trial, board.trial.id)
        events = [] if trial is None else await asyncio.to_thread(corrected_events, store, trial)
        earlier = None if trial is not None else await asyncio.to_thread(last_trial, self._daemon, board.bench)
        return {
            "bench": board.bench,
            "trial": trial,
            "last": earlier,
            "series": [] if trial is not None else await asyncio.to_thread(open_series, store),
            "events": burn_rows(events, trial),
            "lit_s": lit_s(events),
            "stamps": {kind.value: EVENTS[kind] for kind in CORRECTABLE if kind is not EventKind.STEP},
            "refusals": refusals,
            "typed": typed,
            "photos": [] if trial is None else await asyncio.to_thread(photo_rows, store, trial),
            "planned": trial is not None and bool(trial.plan_text),
        }

    # What a person does

    async def remark(self, request: Request) -> Response:
        """Keep a remark."""
        view = self.view(request)
        form = await request.form()
        text = " ".join(str(form.get("text", "")).split())
        if not 0 < len(text) <= MAX_NOTE:
            words = "write something first" if not text else f"at most {MAX_NOTE} characters, please"
            return await self._refused(request, view, {"text": words}, dict(form))
        await view.lane.keeper.note(text)
        return done(request, f"/bench/{view.lane.bench_id}", f"Kept: {text}")

    async def stamp(self, request: Request) -> Response:
        """Set an event of the running trial at this moment, or some seconds ago."""
        view = self.view(request)
        form = await request.form()
        trial = view.lane.board.trial
        now_ns = view.lane.board.clock.now_ns()
        try:
            kind = EventKind(str(form.get("kind", "")))
            ago_s = _ago_s(str(form.get("ago_s", "")))
            if trial is None:
                raise CorrectionError("no trial is running on this bench: start one first")
            t_s = (now_ns - trial.start_ns) / 1e9 - ago_s
            u_s = max(BY_HAND_U_S, AGO_U_SHARE * ago_s)
            await self._daemon.desk.correct(trial.id, AddEvent(kind, t_s, u_s), By(str(form.get("who", ""))))
        except CorrectionError as error:
            return await self._refused(request, view, {error.field: str(error)}, dict(form))
        except ValueError:
            raise HTTPException(400, "No event of this kind can be stamped.") from None
        ago = f"{ago_s:.0f} s ago" if ago_s else "now"
        return done(request, f"/bench/{view.lane.bench_id}", f"{EVENTS[kind].capitalize()}: {ago}.")

    async def acknowledge(self, request: Request) -> Response:
        """Note that somebody has seen an alarm, or all of them."""
        view = self.view(request)
        form = await request.form()
        try:
            titles = view.lane.board.alarms.acknowledge(str(form.get("who", "")), str(form.get("alarm", "")) or None)
        except RequestError:
            # Somebody else was quicker, or its cause has gone: there is nothing left to see.
            titles = []
        words = f"Acknowledged: {'; '.join(titles)}" if titles else "It was acknowledged already."
        return done(request, f"/bench/{view.lane.bench_id}", words)

    async def arm(self, request: Request) -> Response:
        """Open a trial, with the last one's plan where that is asked for."""
        view = self.view(request)
        form = await request.form()
        label = " ".join(str(form.get("label", "")).split()) or None
        try:
            name = str(form.get("series", ""))
            plan_text = await asyncio.to_thread(self._next_plan, name) if name else ""
            trial = await view.lane.keeper.arm(plan_text, label)
        except (RequestError, ComparisonError, UnknownSeriesError) as error:
            return await self._refused(request, view, {"label": str(error)}, dict(form))
        return done(request, f"/bench/{view.lane.bench_id}", f"Trial {trial} is open.")

    def _next_plan(self, series: str) -> str:
        return plan_for_next(self._daemon.store, series, "")[0]

    async def end(self, request: Request) -> Response:
        """End the running trial."""
        view = self.view(request)
        trial = await view.lane.keeper.end()
        return done(request, f"/trials/{trial}", f"Trial {trial} has ended. Its summary follows within seconds.")

    async def _refused(self, request: Request, view: BenchView, refusals: dict[str, str], typed: Any) -> Response:
        return refused(refusals) if wants_json(request) else await self._shown(view, refusals, typed)


def _ago_s(text: str) -> float:
    """Return how long ago a person says that something was; 0 where nothing is said.

    Raises:
        CorrectionError: It is no such number.
    """
    try:
        ago_s = float(text.replace(",", ".") or 0.0)
    except ValueError:
        raise CorrectionError(f"{text!r} is no number of seconds", "ago_s") from None
    if not 0.0 <= ago_s <= MOST_AGO_S:
        raise CorrectionError(f"between 0 and {MOST_AGO_S:.0f} s ago, please", "ago_s")
    return ago_s


def last_trial(daemon: Daemon, bench: str) -> Trial | None:
    """Return the trial of a bench that was entered last, or None."""
    trials = [trial for trial in daemon.store.trials() if trial.bench == bench and trial.origin == "live"]
    return trials[-1] if trials else None
