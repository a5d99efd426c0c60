"""Bodies: what is larger than a page takes is refused in words, whatever it says of its length."""

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import Message, Receive, Scope, Send

from emberline.web.bounds import FORM_BYTES, PHOTO_BYTES, Bounds
from emberline.web.frame import ERRORS
from web_fixture import Answer, asked


async def length(request: Request) -> Response:
    return PlainTextResponse(str(len(await request.body())))


APP = Bounds(
    Starlette(
        routes=[
            Route("/form", length, methods=["GET", "POST"]),
            Route("/trials/{trial}/photos", length, methods=["POST"]),
        ],
        exception_handlers=ERRORS,
    )
)


async def sent(path: str, size: int, said: str | None, accept: str = "") -> Answer:
    headers = {"accept": accept} if said is None else {"accept": accept, "content-length": said}
    return await asked(APP, "POST", path, headers, bytes(size))


@pytest.mark.parametrize(("path", "most"), [("/form", FORM_BYTES), ("/trials/x/photos", PHOTO_BYTES)])
async def test_what_fits_is_taken(path: str, most: int) -> None:
    for said in (str(most), None):
        assert (await sent(path, most, said)).text == str(most)


@pytest.mark.parametrize(
    ("path", "most", "words"), [("/form", FORM_BYTES, "200 kB"), ("/trials/x/photos", PHOTO_BYTES, "20 MB")]
)
async def test_what_does_not_fit_is_refused_in_words(path: str, most: int, words: str) -> None:
    for size, said in ((0, str(most + 1)), (0, "9" * 19), (most + 1, None)):
        answer = await sent(path, size, said)
        assert (answer.status, words in answer.text) == (413, True)
        assert words in (await sent(path, size, said, "application/json")).json()["refused"][""]


async def test_no_more_is_read_than_fits() -> None:
    asked_for = 0

    async def receive() -> Message:
        nonlocal asked_for
        asked_for += 1
        return {"type": "http.request", "body": bytes(50_000), "more_body": True}

    statuses: list[int] = []

    async def send(message: Message) -> None:
        statuses.extend([message["status"]] if "status" in message else [])

    scope = {"type": "http", "method": "POST", "path": "/form", "headers": [], "query_string": b""}
    await APP(scope, receive, send)
    assert statuses == [413]
    assert asked_for == FORM_BYTES // 50_000 + 1


async def test_what_comes_with_a_get_is_nobodys_concern() -> None:
    async def reads_on(scope: Scope, receive: Receive, send: Send) -> None:
        # So does a stream, which waits for its viewer to leave.
        for _ in range(10):
            await receive()
        await PlainTextResponse("still here")(scope, receive, send)

    many = iter([{"type": "http.request", "body": bytes(100_000), "more_body": True}] * 10)

    async def receive() -> Message:
        return next(many)

    sent_back: list[Message] = []

    async def send(message: Message) -> None:
        sent_back.append(message)

    scope = {"type": "http", "method": "GET", "path": "/form", "headers": [], "query_string": b""}
    await Bounds(reads_on)(scope, receive, send)
    assert sent_back[0]["status"] == 200
