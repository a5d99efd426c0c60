"""All pages together: which address leads where."""

from starlette.applications import Starlette
from starlette.routing import Route
from starlette.types import ASGIApp

from emberline.service.daemon import Daemon
from emberline.service.metrics import Metrics
from emberline.web.bounds import Bounds
from emberline.web.compare_page import compare_routes
from emberline.web.door import Door
from emberline.web.frame import ERRORS, Guard, StaticFiles
from emberline.web.guide_page import guide_routes
from emberline.web.health_page import health_routes
from emberline.web.inventory_page import inventory_routes
from emberline.web.live_page import LivePages
from emberline.web.overlay_page import overlay_routes
from emberline.web.photos import PhotoPages
from emberline.web.plan_page import plan_routes
from emberline.web.publish_page import Publish, publish_routes
from emberline.web.trial_page import TrialPages
from emberline.web.trials_page import trials_routes


def site(daemon: Daemon, version: str, publish: Publish, token: str | None = None, name: str = "") -> ASGIApp:
    """Return the application.

    Args:
        daemon: What the pages are about.
        version: Version of the software.
        publish: Makes files of a trial for a person to take away.
        token: What a visitor must have; None where only this machine can reach the pages.
        name: By which a person has them served.
    """
    metrics = Metrics(lambda: daemon.figures(version))
    routes = [
        *LivePages(daemon).routes(),
        *guide_routes(daemon),
        *inventory_routes(daemon),
        *trials_routes(daemon),
        *plan_routes(daemon),
        *PhotoPages(daemon).routes(),
        *TrialPages(daemon).routes(),
        *publish_routes(daemon, publish),
        *overlay_routes(daemon),
        *compare_routes(daemon),
        *health_routes(daemon.health.health, metrics),
        Route("/static/{name}", StaticFiles().serve),
    ]
    # The guard stands before everything: a failure is answered outside an application's own middleware.
    pages = Bounds(Starlette(routes=routes, exception_handlers=ERRORS))
    return Guard(pages if token is None else Door(pages, token), name)
