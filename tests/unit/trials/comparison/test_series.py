"""Planned series: what is kept of them, and which run comes next."""

import json

import pytest

from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.run_order import run_order
from emberline.trials.comparison.series import Series, next_run, series_document, series_of
from emberline.trials.comparison.stop_rule import StopRule

SERIES = Series(
    "holes-1", "time_to_boil", StopRule(burns=3), 7, tuple(run_order({"holes": ["8", "12"]}, 3, lambda n: range(n)))
)


def test_a_series_comes_back_from_its_document() -> None:
    assert series_of(json.loads(json.dumps(series_document(SERIES)))) == SERIES
    assert SERIES.factors == ("holes",)


def test_the_next_run_is_the_first_that_nobody_took() -> None:
    run = next_run(SERIES, [1, 2, 4])
    assert run is not None
    assert (run.number, run.factors) == (3, {"holes": "8"})
    assert next_run(SERIES, range(1, 7)) is None


@pytest.mark.parametrize("name", ["", "two words", "a/b", "x" * 61])
def test_names_are_plain(name: str) -> None:
    with pytest.raises(ComparisonError, match="no name for a series"):
        Series(name, "time_to_boil", StopRule(burns=3), 7, SERIES.runs)


@pytest.mark.parametrize("document", [{}, {"name": "x", "result": "r", "rule": {"what": 1}, "seed": 1, "runs": []}])
def test_what_is_no_series_is_refused(document: dict[str, object]) -> None:
    with pytest.raises(ComparisonError, match="no document of a series"):
        series_of(document)
