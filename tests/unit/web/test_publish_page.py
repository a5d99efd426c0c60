"""What can be taken away of a trial, without a browser."""

from types import SimpleNamespace
from typing import Any

import pytest
from starlette.applications import Starlette

from emberline.store.store import Store
from emberline.web.frame import ERRORS, Guard
from emberline.web.publish_page import PUBLISHED, publish_routes
from unit.store.made_up import NOON_NS, SECOND_NS
from web_fixture import asked


@pytest.fixture
def app(store: Store) -> Guard:
    async def publish(trial: str, name: str) -> bytes:
        return f"{name} of {trial}".encode()

    daemon: Any = SimpleNamespace(store=store)
    return Guard(Starlette(routes=publish_routes(daemon, publish), exception_handlers=ERRORS))


@pytest.mark.parametrize("name", PUBLISHED)
async def test_a_file_is_made_and_named_after_its_trial(app: Guard, store: Store, name: str) -> None:
    trial = store.create_trial(bench="yard", start_ns=NOON_NS).id
    store.end_trial(trial, NOON_NS + SECOND_NS)
    answer = await asked(app, "GET", f"/trials/{trial}/publish/{name}")
    assert answer.text == f"{name} of {trial}"
    assert answer.headers["content-type"] == PUBLISHED[name]
    assert f'filename="{trial}-{name}"' in answer.headers["content-disposition"]


async def test_what_is_not_there_is_told_in_words(app: Guard, store: Store) -> None:
    assert (await asked(app, "GET", "/trials/none/publish/card.png")).status == 404
    trial = store.create_trial(bench="yard", start_ns=NOON_NS).id
    assert (await asked(app, "GET", f"/trials/{trial}/publish/evil.sh")).status == 404
    running = await asked(app, "GET", f"/trials/{trial}/publish/card.png")
    assert running.status == 409
    assert "still running" in running.text
