"""The photos of a trial: sent from a phone, looked at, removed."""

import asyncio
from typing import Any

from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from emberline.service.daemon import Daemon
from emberline.service.errors import RequestError
from emberline.service.photos import prepared
from emberline.store.errors import TooManyPhotosError, UnknownPhotoError
from emberline.store.records import Trial
from emberline.store.store import Store
from emberline.web.burn_events import local_time
from emberline.web.frame import done, refused, wants_json
from emberline.web.moment_field import whole


class PhotoPages:
    """The photos of all trials of a daemon."""

    def __init__(self, daemon: Daemon) -> None:
        """Serve the photos of a daemon's store."""
        self._daemon = daemon
        # One at a time: unpacking takes memory, and readings go before pictures.
        self._preparing = asyncio.Lock()

    def routes(self) -> list[Route]:
        """Return the routes."""
        return [
            Route("/trials/{trial}/photos", self.add, methods=["POST"]),
            Route("/trials/{trial}/photos/{photo}.jpg", self.show),
            Route("/trials/{trial}/photos/{photo}/remove", self.remove, methods=["POST"]),
        ]

    async def show(self, request: Request) -> Response:
        """Return a picture."""
        try:
            content = await asyncio.to_thread(self._daemon.store.photo, *_named(request))
        except UnknownPhotoError as error:
            raise HTTPException(404, "The trial has no photo of this number.") from error
        # A number always names the same picture.
        return Response(content, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=86400"})

    async def add(self, request: Request) -> Response:
        """Keep a photo."""
        name = request.path_params["trial"]
        trial = await asyncio.to_thread(self._daemon.store.trial, name)
        form = await request.form(max_files=1, max_fields=4)
        file = form.get("photo")
        try:
            if not isinstance(file, UploadFile) or not file.size:
                raise RequestError("take a photo first")
            async with self._preparing:
                content, size = await asyncio.to_thread(prepared, await file.read())
            now_ns = self._daemon.health.clock.now_ns()
            await asyncio.to_thread(self._daemon.store.add_photo, name, now_ns, size, content)
        except (RequestError, TooManyPhotosError) as error:
            if wants_json(request):
                return refused({"photo": str(error)})
            raise HTTPException(422, f"{str(error).capitalize()}.") from error
        finally:
            await form.close()
        self._remind(trial)
        return done(request, _back(trial), "The photo is kept.")

    async def remove(self, request: Request) -> Response:
        """Remove a photo."""
        trial = await asyncio.to_thread(self._daemon.store.trial, request.path_params["trial"])
        try:
            await asyncio.to_thread(self._daemon.store.remove_photo, *_named(request))
        except UnknownPhotoError as error:
            raise HTTPException(404, "The trial has no photo of this number.") from error
        self._remind(trial)
        return done(request, _back(trial), "The photo is removed.")

    def _remind(self, trial: Trial) -> None:
        if trial.bench in self._daemon.lanes:
            self._daemon.lanes[trial.bench].board.remind()


def photo_rows(store: Store, trial: Trial) -> list[dict[str, Any]]:
    """Return what a page shows of a trial's photos: address, size, and when each came in."""
    return [
        {
            "src": f"/trials/{trial.id}/photos/{one.id}.jpg",
            "remove": f"/trials/{trial.id}/photos/{one.id}/remove",
            "width": one.width,
            "height": one.height,
            "clock": local_time(one.taken_ns, trial.zone),
        }
        for one in store.photos(trial.id)
    ]


def _named(request: Request) -> tuple[str, int]:
    photo = whole(request.path_params["photo"])
    if photo is None:
        raise HTTPException(404)
    return request.path_params["trial"], photo


def _back(trial: Trial) -> str:
    return f"/bench/{trial.bench}" if trial.end_ns is None else f"/trials/{trial.id}"
