import io
from types import SimpleNamespace
from typing import Any

import pytest
from PIL import Image
from starlette.applications import Starlette

from emberline.service.board import Board
from emberline.store.store import Store
from emberline.web.frame import ERRORS, Guard
from emberline.web.photos import PhotoPages, photo_rows
from unit.store.made_up import NOON_NS, SECOND_NS
from web_fixture import Answer, asked

EDGE = "----edge"


@pytest.fixture
def app(store: Store, board: Board) -> Guard:
    health = SimpleNamespace(clock=board.clock)
    daemon: Any = SimpleNamespace(store=store, lanes={"yard": SimpleNamespace(board=board)}, health=health)
    return Guard(Starlette(routes=PhotoPages(daemon).routes(), exception_handlers=ERRORS))


@pytest.fixture
def trial(store: Store) -> str:
    return store.create_trial(bench="yard", start_ns=NOON_NS, zone="UTC", label=None, bench_text="", plan_text="").id


def picture() -> bytes:
    into = io.BytesIO()
    Image.new("RGB", (64, 48), (200, 90, 10)).save(into, "JPEG")
    return into.getvalue()


async def sent(app: Guard, trial: str, content: bytes, accept: str = "", **headers: str) -> Answer:
    body = (
        (
            f'--{EDGE}\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n'
            "Content-Type: image/jpeg\r\n\r\n"
        ).encode()
        + content
        + f"\r\n--{EDGE}--\r\n".encode()
    )
    known = {
        "host": "127.0.0.1",
        "content-type": f"multipart/form-data; boundary={EDGE}",
        "content-length": str(len(body)),
        "accept": accept,
    }
    return await asked(app, "POST", f"/trials/{trial}/photos", {**known, **headers}, body)


async def test_a_photo_is_kept_shown_and_removed(app: Guard, trial: str, store: Store, board: Board) -> None:
    answer = await sent(app, trial, picture())
    assert (answer.status, answer.headers["location"]) == (303, "/bench/yard")
    (row,) = photo_rows(store, store.trial(trial))
    assert (row["width"], row["height"], row["clock"]) == (64, 48, "12:05:00 +0000")
    shown = await asked(app, "GET", row["src"])
    assert (shown.status, shown.headers["content-type"]) == (200, "image/jpeg")
    assert Image.open(io.BytesIO(shown.body)).size == (64, 48)
    marks = board.marks
    assert (await asked(app, "POST", row["remove"], {"host": "localhost"})).status == 303
    assert photo_rows(store, store.trial(trial)) == []
    assert board.marks == marks + 1
    assert (await asked(app, "GET", row["src"])).status == 404
    assert (await asked(app, "POST", row["remove"], {"host": "localhost"})).status == 404


async def test_after_the_burn_the_way_leads_back_to_the_trials_page(app: Guard, trial: str, store: Store) -> None:
    store.end_trial(trial, NOON_NS + 900 * SECOND_NS)
    assert (await sent(app, trial, picture())).headers["location"] == f"/trials/{trial}"


async def test_what_is_no_photo_is_refused_in_words(app: Guard, trial: str, store: Store) -> None:
    answer = await sent(app, trial, b"nothing like it", accept="application/json")
    assert "no photo that can be read" in answer.json()["refused"]["photo"]
    assert (await sent(app, trial, b"", accept="application/json")).json() == {
        "refused": {"photo": "take a photo first"}
    }
    assert (await sent(app, trial, b"nothing like it")).status == 422
    assert store.photos(trial) == []


@pytest.mark.parametrize("number", ["9" * 5000, "9" * 30, "-1", "x", "..", "\N{ARABIC-INDIC DIGIT THREE}"])
async def test_a_number_that_no_photo_has_finds_none(app: Guard, trial: str, number: str) -> None:
    assert (await asked(app, "GET", f"/trials/{trial}/photos/{number}.jpg")).status == 404
    removed = await asked(app, "POST", f"/trials/{trial}/photos/{number}/remove", {"host": "localhost"})
    assert removed.status == 404


async def test_an_unknown_trial_takes_no_photo(app: Guard) -> None:
    assert (await sent(app, "2020-01-01-1", picture())).status == 404
