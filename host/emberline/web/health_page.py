"""The health of a running daemon over HTTP: `/health` for people and watchdogs, `/metrics` for monitoring servers."""

from collections.abc import Callable

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from emberline.service.health import Health, health_document
from emberline.service.metrics import CONTENT_TYPE, Metrics
from emberline.trials.live_document import Recording

NOT_RECORDING_STATUS = 503
"""Service Unavailable (RFC 9110, section 15.6.4): a watchdog needs no more than the status."""
NEVER_KEPT = {"Cache-Control": "no-store"}


def health_routes(health: Callable[[], Health], metrics: Metrics) -> list[Route]:
    """Return the routes.

    Args:
        health: Tells how the recording stands.
        metrics: Gathers the figures.
    """

    async def show_health(_: Request) -> Response:
        now = health()
        status = NOT_RECORDING_STATUS if now.recording is Recording.NOT_RECORDING else 200
        return JSONResponse(health_document(now), status_code=status, headers=NEVER_KEPT)

    async def show_metrics(_: Request) -> Response:
        return Response(metrics.text(), headers={"Content-Type": CONTENT_TYPE, **NEVER_KEPT})

    return [Route("/health", show_health), Route("/metrics", show_metrics)]
