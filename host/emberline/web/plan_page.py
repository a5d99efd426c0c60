"""The page on which a plan is edited, before the burn is over and afterwards; the results follow."""

import asyncio
from collections.abc import Mapping

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from emberline.bench.errors import PlanError
from emberline.bench.plan_fields import GROUPS
from emberline.bench.plan_values import plan_values
from emberline.service.daemon import Daemon
from emberline.service.desk import By, labelled
from emberline.trials.corrections import CorrectionError
from emberline.web import plan_form
from emberline.web.frame import REFUSED, done, page, refused, wants_json
from emberline.web.moment_field import whole


def plan_routes(daemon: Daemon) -> list[Route]:
    """Return the routes."""

    async def show(request: Request) -> Response:
        return await shown(request.path_params["trial"])

    async def shown(
        name: str, refusals: Mapping[str, str] | None = None, typed: Mapping[str, str] | None = None
    ) -> Response:
        trial = await asyncio.to_thread(daemon.store.trial, name)
        log = await asyncio.to_thread(daemon.store.corrections, name)
        values = plan_values(labelled(trial))
        return page(
            "plan.html.j2",
            REFUSED if refusals else 200,
            trial=trial,
            groups=GROUPS,
            values=values,
            typed=plan_form.shown(values) if typed is None else typed,
            refusals=refusals or {},
            seen=len(log),
        )

    async def edit(request: Request) -> Response:
        name = request.path_params["trial"]
        sent = await request.form()
        typed = {key: value for key, value in sent.items() if isinstance(value, str)}
        trial = await asyncio.to_thread(daemon.store.trial, name)
        found = plan_form.read(typed, plan_values(labelled(trial)))
        by = By(typed.get("who", ""), typed.get("why", ""), whole(typed.get("seen", "")))
        try:
            if isinstance(found, plan_form.Unreadable):
                refusals: Mapping[str, str] = found.by_field
            else:
                await daemon.desk.set_values(name, found, by)
                return done(
                    request, f"/trials/{name}" if trial.end_ns else f"/bench/{trial.bench}", "The plan is kept."
                )
        except PlanError as error:
            refusals = plan_form.problems(error)
        except CorrectionError as error:
            refusals = {"" if error.field == "plan" else error.field: str(error)}
        return refused(refusals) if wants_json(request) else await shown(name, refusals, typed)

    return [Route("/trials/{trial}/plan", show), Route("/trials/{trial}/plan", edit, methods=["POST"])]
