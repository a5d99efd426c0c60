from types import SimpleNamespace
from typing import Any
from urllib.parse import urlencode

import pytest
from starlette.applications import Starlette

from emberline.bench.inventory import NUMBERS, WORDS, Kind, parse_entry
from emberline.service.inventory import Inventory
from emberline.store.store import Store
from emberline.web.frame import ERRORS, Guard
from emberline.web.inventory_page import LABELS, ORDER, entry_of, facts_of, fields_of, inventory_routes
from web_fixture import Answer, asked

FORM = {"host": "127.0.0.1", "content-type": "application/x-www-form-urlencoded"}
SCRIPT = {**FORM, "accept": "application/json"}
LOT = {"kind": "lot", "name": "spruce", "fuel": "pellets", "moisture_wet": "8 ± 1", "lhv_dry_j_g": "18700"}


@pytest.fixture
def app(store: Store) -> Guard:
    daemon: Any = SimpleNamespace(inventory=Inventory(store))
    return Guard(Starlette(routes=inventory_routes(daemon), exception_handlers=ERRORS))


async def posted(app: Guard, headers: dict[str, str], **form: str) -> Answer:
    return await asked(app, "POST", "/inventory", headers, urlencode(form).encode())


async def test_a_lot_is_added_changed_and_retired(app: Guard, store: Store) -> None:
    assert (await posted(app, FORM, act="keep", **LOT)).status == 303
    text = (await asked(app, "GET", "/inventory")).text
    assert "pellets, moisture, wet basis 8 ± 1 %" in text
    await posted(app, FORM, act="keep", was="spruce", **{**LOT, "moisture_wet": "9"})
    await posted(app, FORM, act="retire", was="spruce", kind="lot")
    text = (await asked(app, "GET", "/inventory")).text
    assert "(retired)" in text
    assert "Offer it again" in text
    documents = [one.document for one in store.inventory_versions("lot", "spruce")]
    assert ["moisture_wet = 0.08" in documents[0], "moisture_wet = 0.09" in documents[1]] == [True, True]


async def test_what_is_wrong_stands_beside_its_field_and_nothing_typed_is_lost(app: Guard, store: Store) -> None:
    wrong = {**LOT, "lhv_dry_j_g": "18.7"}
    assert "MJ/kg?" in (await posted(app, SCRIPT, act="keep", **wrong)).json()["refused"]["lhv_dry_j_g"]
    answer = await posted(app, FORM, act="keep", **wrong)
    assert answer.status == 422
    assert 'value="18.7"' in answer.text
    assert 'value="pellets"' in answer.text
    assert store.inventory() == []


async def test_a_contradiction_is_told_at_its_field(app: Guard) -> None:
    both = {**LOT, "moisture_dry": "9"}
    assert "say the same thing" in (await posted(app, SCRIPT, act="keep", **both)).json()["refused"]["moisture_dry"]
    nameless = await posted(app, SCRIPT, act="keep", **{**LOT, "name": " "})
    assert "needs a name" in nameless.json()["refused"]["name"]


async def test_a_name_is_taken_once(app: Guard) -> None:
    await posted(app, FORM, act="keep", **LOT)
    assert "already" in (await posted(app, SCRIPT, act="keep", **LOT)).json()["refused"]["name"]


async def test_a_kind_that_is_none_is_refused(app: Guard) -> None:
    assert (await posted(app, FORM, act="keep", kind="kettle", name="x")).status == 400


def test_every_key_of_an_entry_has_a_field_and_a_label() -> None:
    for kind in Kind:
        assert set(ORDER[kind]) == {*NUMBERS[kind], *WORDS[kind]}
        assert set(ORDER[kind]) <= set(LABELS)


def test_a_form_filled_from_an_entry_gives_the_same_entry() -> None:
    text = 'name = "tin"\ntare_g = 312.5\nu_tare_g = 0.5\nmaterial = "steel"\nlid = true\nlid_g = 80'
    entry = parse_entry(Kind.POT, text)
    form = {field.key: field.value for field in fields_of(Kind.POT, entry, {})}
    again = entry_of(Kind.POT, {**form, "name": "tin", "lid": "on"})
    assert again.words == entry.words
    assert again.lid
    assert again.numbers == pytest.approx(dict(entry.numbers), rel=2e-3)
    assert facts_of(entry) == "312.5 ± 0.98 g, lid 80 g, steel, with a lid"
