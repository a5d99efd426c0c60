"""Rules under which a series ends, and whether they were kept."""

import pytest

from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.stop_rule import StopRule, kept


@pytest.mark.parametrize(
    ("counts", "ended", "broken"),
    [((6, 6), True, False), ((6, 5), False, False), ((7, 6), True, True), ((), False, False)],
)
def test_a_number_of_burns(counts: tuple[int, ...], ended: bool, broken: bool) -> None:
    found = kept(StopRule(burns=6), counts, ())
    assert (found.ended, found.broken) == (ended, broken)
    assert "6 burns of each" in found.words


def test_a_series_that_is_looked_at_early_is_called_open() -> None:
    assert "there are 3" in kept(StopRule(burns=6), (3, 4), ()).words


def test_an_interval_that_is_narrow_enough_ends_a_series() -> None:
    rule = StopRule(half_width=20.0)
    assert not kept(rule, (3, 3), (None, 60.0, 31.0)).ended
    assert kept(rule, (4, 4), (None, 60.0, 31.0, 19.0)).ended
    assert kept(rule, (5, 5), (None, 60.0, 31.0, 19.0, 22.0)).broken


def test_the_most_burns_end_it_too() -> None:
    found = kept(StopRule(half_width=5.0, most_burns=3), (3, 3), (None, 60.0, 31.0))
    assert found.ended
    assert not found.broken
    assert "3 burns of each were made" in found.words
    assert kept(StopRule(half_width=5.0, most_burns=3), (4, 4), (None, 60.0, 31.0, 30.0)).broken


@pytest.mark.parametrize(
    "rule",
    [
        {},
        {"burns": 4, "half_width": 2.0},
        {"burns": 1},
        {"half_width": 0.0},
        {"burns": 4, "most_burns": 5},
        {"half_width": 1.0, "most_burns": 1},
    ],
)
def test_a_rule_that_says_nothing_or_too_much_is_refused(rule: dict[str, float]) -> None:
    with pytest.raises(ComparisonError):
        StopRule(**rule)  # type: ignore[arg-type]
