"""The live page of a bench, and the page of all benches."""

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from emberline.service.daemon import Daemon
from emberline.web.frame import page


def live_routes(daemon: Daemon) -> list[Route]:
    """Return the routes.

    Args:
        daemon: Whose benches are shown.
    """

    async def show_bench(request: Request) -> Response:
        lane = daemon.lanes.get(request.path_params.get("bench", next(iter(daemon.lanes))))
        if lane is None:
            raise HTTPException(404, "No bench of this name is recorded here.")
        return page("live.html.j2", bench=lane.bench_id, live=lane.board.document())

    return [Route("/", show_bench), Route("/bench/{bench}", show_bench)]
