"""Comparisons of stored trials, as a page asks for them."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from compared_fixture import fill
from emberline.service.comparing import Comparer
from emberline.service.comparisons import Query
from emberline.store.store import Store
from emberline.trials.comparison.run_order import run_order
from emberline.trials.comparison.series import Series, series_document
from emberline.trials.comparison.stop_rule import StopRule


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "s") as opened:
        yield opened


def test_a_page_is_given_everything_that_it_shows(store: Store) -> None:
    ids = fill(store)
    parts = Comparer(store.path).parts(Query(by=("holes",)))
    assert parts["refused"] == ""
    assert parts["groups"] == ["holes 8", "holes 12"]
    assert [one["name"] for one in parts["results"]] == ["time_to_boil", "thermal_efficiency"]
    assert "boils 42" in parts["results"][0]["said"][0]
    assert [row.trial for row in parts["rows"]] == [*ids[0:6:2], *ids[1:6:2], ids[6]]
    assert parts["rows"][-1].counts == "rain"
    assert parts["rule"] is None
    assert {one["trial"] for one in parts["burns"]} == set(ids[:6])


def test_groups_of_ones_own_choice(store: Store) -> None:
    ids = fill(store)
    parts = Comparer(store.path).parts(Query(groups={"A": tuple(ids[:2]), "B": tuple(ids[2:4])}))
    assert parts["groups"] == ["A", "B"]
    assert any("All burns of A came before" in words for words in parts["warnings"])


def test_a_series_tells_of_its_rule(store: Store) -> None:
    runs = run_order({"holes": ["8", "12"]}, 3, range)
    series = Series("holes-1", "time_to_boil", StopRule(burns=3), 1, tuple(runs))
    store.plan_series("holes-1", json.dumps(series_document(series)))
    fill(store, series="holes-1")
    parts = Comparer(store.path).parts(Query(series="holes-1"))
    assert parts["rule"] == {"words": "Stop rule kept: 3 burns of each, as planned.", "broken": False}


@pytest.mark.parametrize(
    ("query", "why"),
    [
        (Query(by=("lid",)), "the factors are: holes"),
        (Query(by=("holes",), where={"holes": "99"}), "no trial takes part"),
        (Query(series="none"), "no series 'none'"),
        (Query(groups={"A": ("2020-01-01-1",)}), "2020-01-01-1 has no summary yet"),
    ],
)
def test_what_cannot_be_compared_is_said(store: Store, query: Query, why: str) -> None:
    fill(store)
    comparer = Comparer(store.path)
    assert why in comparer.parts(query)["refused"]
    assert why in str(comparer.card(query, "", False, "png"))
