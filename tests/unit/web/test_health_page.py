import json
from dataclasses import replace

import pytest
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from emberline.service.bench_health import BenchHealth
from emberline.service.health import Health
from emberline.service.metrics import BenchFigures, Figures, Metrics
from emberline.trials.live_document import Recording
from emberline.web.health_page import health_routes

YARD = BenchHealth("yard", Recording.RECORDING, 10**9, "", "streaming", 10**9, None, 5, 0, 0)
HEALTH = Health(2 * 10**9, (YARD,))


async def answer(health: Health, path: str) -> Response:
    routes = health_routes(
        lambda: health, Metrics(lambda: Figures(health, "0.1.0", {"yard": BenchFigures(0, 0, 1)}, 0.0, 0.0, 1))
    )
    route: Route = next(one for one in routes if one.path == path)
    got = await route.endpoint(Request({"type": "http", "method": "GET", "headers": []}))
    assert isinstance(got, Response)
    return got


# RFC 9110, section 15.6.4: 503 means that a service cannot do its work now.
@pytest.mark.parametrize(
    ("state", "status"),
    [(Recording.RECORDING, 200), (Recording.WITH_GAPS, 200), (Recording.NOT_RECORDING, 503)],
)
async def test_a_watchdog_needs_only_the_status(state: Recording, status: int) -> None:
    got = await answer(replace(HEALTH, benches=(replace(YARD, recording=state),)), "/health")
    assert got.status_code == status
    assert json.loads(bytes(got.body))["recording"] == state.value


async def test_no_answer_is_kept_by_a_cache() -> None:
    for path in ("/health", "/metrics"):
        assert (await answer(HEALTH, path)).headers["cache-control"] == "no-store"


async def test_metrics_are_text() -> None:
    got = await answer(HEALTH, "/metrics")
    assert got.headers["content-type"].startswith("text/plain")
    assert b'emberline_samples_stored_total{bench="yard"} 5.0' in bytes(got.body)
