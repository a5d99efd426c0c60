"""The page of one trial: its summary, its curves to look closer at, and what a person may correct."""

import asyncio
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from emberline.bench.errors import PlanError
from emberline.bench.plan import Plan, empty_plan, parse_plan
from emberline.bench.plan_values import plan_values
from emberline.curves.events import Event, EventKind, first
from emberline.reports.corrections import CorrectionRow, correction_rows
from emberline.reports.figures import clock, moment, plain
from emberline.reports.wording import EVENTS
from emberline.service.daemon import Daemon
from emberline.service.desk import corrected_events, is_behind, labelled
from emberline.store.records import StoredSummary, Trial
from emberline.store.trials import zone_named
from emberline.trials.corrections import (
    BY_HAND_U_S,
    CORRECTABLE,
    Log,
    exclusion,
    set_by,
    undone_by,
)
from emberline.web.alarm_rows import alarm_rows
from emberline.web.corrections_form import FORMS, WEIGHTS, Refusals, correct, reference, words
from emberline.web.frame import REFUSED, done, page, refused, wants_json
from emberline.web.moment_field import moment_text
from emberline.web.photos import photo_rows
from emberline.web.trial_files import FILES, Parts, folder_of, read_parts
from emberline.web.trial_words import began

PICTURE_POLICY = "default-src 'none'; style-src 'unsafe-inline'"
"""What a picture may do that was drawn with styles of its own: show them, and nothing else."""


@dataclass(frozen=True, slots=True)
class EventRow:
    """One event on the page.

    Attributes:
        number: From 1, in order of time.
        reference: How a form names it; empty where it cannot be corrected.
        kind: What happened, for scripts.
        name: The same in words.
        t_s: When, seconds from the first sample.
        time: The same from lit, with its ±.
        field: The same as a field holds it.
        announced: When a live run said it; empty for what a person set or said.
        size: Change of load; empty without one.
        evidence: Why.
        aside: What to bear in mind: that it could not be told from what looks like it, or that a person set it.
    """

    number: int
    reference: str
    kind: str
    name: str
    t_s: float
    time: str
    field: str
    announced: str
    size: str
    evidence: str
    aside: str


@dataclass(frozen=True)
class Known:
    """What the store and the summary's files know of a trial."""

    trial: Trial
    kept: StoredSummary | None
    log: Log
    events: tuple[Event, ...]
    parts: Parts | None
    photos: list[dict[str, Any]]

    @property
    def zero_s(self) -> float:
        """Moment from which times count: lit, or the first sample."""
        lit = first(self.events, EventKind.LIT)
        return lit.t_s if lit is not None else 0.0

    @property
    def behind(self) -> bool:
        """Whether the summary of an ended trial is missing, or older than its last correction."""
        return self.trial.end_ns is not None and (self.parts is None or is_behind(self.kept, len(self.log)))


class TrialPages:
    """The pages of single trials."""

    def __init__(self, daemon: Daemon) -> None:
        """Serve the trials of a daemon's store."""
        self._store = daemon.store
        self._desk = daemon.desk
        self._recorded = daemon.lanes

    def routes(self) -> list[Route]:
        """Return the routes."""
        return [
            Route("/trials/{trial}", self.show),
            Route("/trials/{trial}/state", self.state),
            Route("/trials/{trial}/correct/{form}", self.correct, methods=["POST"]),
            Route("/trials/{trial}/files/{name}", self.file),
        ]

    async def show(self, request: Request) -> Response:
        """Show a trial."""
        return await self._shown(request.path_params["trial"], request.query_params.get("event", ""))

    async def state(self, request: Request) -> Response:
        """Tell a script whether the summary is still being worked out."""
        known = await asyncio.to_thread(self._known, request.path_params["trial"])
        return JSONResponse({"behind": self._waited_for(known), "corrections": len(known.log)})

    async def file(self, request: Request) -> Response:
        """Return a file of the summary."""
        trial = await asyncio.to_thread(self._store.trial, request.path_params["trial"])
        name = request.path_params["name"]
        if name not in FILES:
            raise HTTPException(404)
        try:
            content = await asyncio.to_thread((folder_of(self._store.path, trial.id) / name).read_bytes)
        except OSError:
            raise HTTPException(404, "This file is not there yet: it comes with the trial's summary.") from None
        kind, disposition = FILES[name]
        headers = {"Content-Disposition": f'{disposition}; filename="{trial.id}-{name}"'}
        if name.endswith((".svg", ".html")):
            headers["Content-Security-Policy"] = PICTURE_POLICY
        return Response(content, media_type=kind, headers=headers)

    async def correct(self, request: Request) -> Response:
        """Make a correction, or say why not."""
        trial, form = request.path_params["trial"], request.path_params["form"]
        if form not in FORMS:
            raise HTTPException(404)
        sent = await request.form()
        typed = {name: value for name, value in sent.items() if isinstance(value, str)}
        made = await correct(self._desk, trial, form, typed)
        if not isinstance(made, Refusals):
            return done(request, f"/trials/{trial}", words(made))
        if wants_json(request):
            return refused(made.by_field)
        return await self._shown(trial, typed.get("event", ""), made, typed)

    # What is shown

    def _known(self, name: str) -> Known:
        trial = self._store.trial(name)
        log = self._store.corrections(name)
        events = corrected_events(self._store, trial)
        parts = read_parts(folder_of(self._store.path, name))
        return Known(trial, self._store.summary(name), log, tuple(events), parts, photo_rows(self._store, trial))

    def _waited_for(self, known: Known) -> bool:
        """Tell whether the summary is waited for; has one worked out that nobody works on."""
        if known.behind:
            self._desk.renew(known.trial)
        return known.behind or self._desk.works_on(known.trial.id)

    async def _shown(
        self,
        name: str,
        event: str,
        refusals: Refusals | None = None,
        typed: Mapping[str, str] | None = None,
    ) -> Response:
        known = await asyncio.to_thread(self._known, name)
        trial, plan = known.trial, _plan(known.trial)
        rows = event_rows(known)
        excluded = exclusion(known.log)
        return page(
            "trial.html.j2",
            REFUSED if refusals is not None else 200,
            trial=trial,
            name=trial.label or plan.label or trial.source or f"Trial {trial.id}",
            began=began(trial),
            running=trial.end_ns is None,
            recorded=trial.bench in self._recorded,
            waited_for=self._waited_for(known),
            factors=plan.factors,
            excluded=excluded,
            head=_markup(known.parts, "head"),
            rest=_markup(known.parts, "rest"),
            rows=rows,
            lit=first(known.events, EventKind.LIT) is not None,
            zero_s=known.zero_s,
            chosen=event,
            kinds={kind.value: EVENTS[kind] for kind in CORRECTABLE},
            weights=_weights(plan, trial),
            plan_text=_plan_text(trial),
            usual_u_s=f"{BY_HAND_U_S:g}",
            seen=len(known.log),
            corrections=history(known),
            refusals={} if refusals is None else {refusals.form: refusals.by_field},
            typed={} if refusals is None or typed is None else {refusals.form: typed},
            marks=[_mark(row) for row in rows],
            photos=known.photos,
            alarms=await asyncio.to_thread(alarm_rows, self._store, trial, known.zero_s),
        )


def event_rows(known: Known) -> list[EventRow]:
    """Return the events of a trial in order of time."""
    rows = []
    for number, event in enumerate(known.events, 1):
        note = event.kind is EventKind.NOTE
        if event.by_person:
            announced = ""
        else:
            announced = "afterwards only" if event.announced_t_s is None else clock(event.announced_t_s - known.zero_s)
        size = "" if event.size_g is None else plain(event.size_g, "g")
        rows.append(
            EventRow(
                number,
                "" if note else reference(event.kind, event.t_s, set_by(known.log, event)),
                event.kind.value,
                "remark" if note else EVENTS[event.kind],
                event.t_s,
                moment(event.t_s - known.zero_s, event.u_s),
                moment_text(event.t_s - known.zero_s),
                announced,
                size if not size or size.startswith("\N{MINUS SIGN}") else f"+{size}",
                event.evidence,
                "" if note else "set by a person" if event.by_person else "" if event.confirmed else "unconfirmed",
            )
        )
    return rows


def history(known: Known) -> list[tuple[CorrectionRow, bool]]:
    """Return the corrections, the newest first, each with whether it may still be taken back."""
    undone = undone_by(known.log)
    rows = correction_rows(known.log, known.zero_s, zone_named(known.trial.zone))
    return [(row, row.number not in undone) for row in reversed(rows)]


def _mark(row: EventRow) -> dict[str, Any]:
    return {"number": row.number, "kind": row.kind, "name": row.name, "t_s": row.t_s, "reference": row.reference}


def _markup(parts: Parts | None, name: str) -> Markup | None:
    # Set by reports.page from a template that escapes what goes into it.
    return None if parts is None else Markup(getattr(parts, name))  # noqa: S704


def _plan(trial: Trial) -> Plan:
    try:
        return parse_plan(trial.plan_text)
    except PlanError:
        return empty_plan()


def _plan_text(trial: Trial) -> str:
    try:
        return labelled(trial)
    except PlanError:
        return trial.plan_text


def _weights(plan: Plan, trial: Trial) -> list[dict[str, str]]:
    """Return the fields of what is weighed afterwards, with what the plan says already."""
    try:
        values = plan_values(trial.plan_text)
    except PlanError:
        values = {}
    shown = []
    for key, (title, unit) in WEIGHTS.items():
        if key.startswith("pot.") and plan.pot is None:
            continue
        value = values.get(key)
        shown.append({"key": key, "title": title, "unit": unit, "value": "" if value is None else json.dumps(value)})
    return shown
