"""The overlay: a bench's figures on a transparent page, to be laid over a film of its fire."""

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from emberline.service.daemon import Daemon
from emberline.web.frame import page

FIGURES = {
    "water": ("Water", "°C", 1),
    "flame": ("Flame", "°C", 0),
    "mass": ("Load", "g", 1),
    "burning_rate_g_min": ("Burning rate", "g/min", 1),
    "firepower_w": ("Firepower", "W", 0),
}
"""What can be shown: title, unit and decimals, by the names of the live document."""
USUAL = ("water", "burning_rate_g_min", "firepower_w")


def overlay_routes(daemon: Daemon) -> list[Route]:
    """Return the routes.

    Args:
        daemon: Whose benches are shown.
    """

    async def show(request: Request) -> Response:
        bench = request.path_params["bench"]
        if bench not in daemon.lanes:
            raise HTTPException(404, f"No bench {bench!r} is recorded here, but {', '.join(sorted(daemon.lanes))}.")
        asked = request.query_params.get("show", "")
        names = tuple(name for name in asked.split(",") if name in FIGURES) if asked else USUAL
        if not names:
            raise HTTPException(400, f"show= takes any of {', '.join(FIGURES)}, with commas between.")
        return page("overlay.html.j2", bench=bench, figures={name: FIGURES[name] for name in names})

    return [Route("/bench/{bench}/overlay", show)]
