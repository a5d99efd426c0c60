"""Pictures and packs of a trial, for a person to take away."""

import asyncio
from collections.abc import Awaitable, Callable, Mapping

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from emberline.service.daemon import Daemon

Publish = Callable[[str, str], Awaitable[bytes]]
"""Makes a file of a trial: its id and the file's name."""

PUBLISHED: Mapping[str, str] = {
    "card.png": "image/png",
    "card-square.png": "image/png",
    "card.svg": "image/svg+xml",
    "burn.zip": "application/zip",
}
"""What can be taken away, and its media type."""


def publish_routes(daemon: Daemon, publish: Publish) -> list[Route]:
    """Return the routes.

    Args:
        daemon: Whose trials they are.
        publish: Makes the files, in a process of its own.
    """

    async def take(request: Request) -> Response:
        name = request.path_params["name"]
        trial = await asyncio.to_thread(daemon.store.trial, request.path_params["trial"])
        if name not in PUBLISHED:
            raise HTTPException(404)
        if trial.end_ns is None:
            raise HTTPException(409, f"Trial {trial.id} is still running: end it first.")
        content = await publish(trial.id, name)
        headers = {"Content-Disposition": f'attachment; filename="{trial.id}-{name}"'}
        return Response(content, media_type=PUBLISHED[name], headers=headers)

    return [Route("/trials/{trial}/publish/{name}", take)]
