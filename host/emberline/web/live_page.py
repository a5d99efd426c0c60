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
        if request.path_params.get("bench", daemon.board.bench) != daemon.board.bench:
            raise HTTPException(404, "No bench of this name is recorded here.")
        return page("live.html.j2", bench=daemon.board.bench, live=daemon.board.document())

    return [Route("/", show_bench), Route("/bench/{bench}", show_bench)]
