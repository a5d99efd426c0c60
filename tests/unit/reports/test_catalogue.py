"""Looking through many trials."""

from dataclasses import replace

import pytest

from emberline.reports.catalogue import BEGAN, PER_PAGE, Entry, Figure, Wanted, factor_values, find

CHIPS = Entry(
    "2026-11-25-1", "yard", "Chips, wide holes", "", 1, factors={"fuel": "chips", "holes": "16"},
    notes=["Wind got up"], results={"burn_time": Figure(1500.0, 5.0, "s")},
)  # fmt: skip
BARK = Entry(
    "2026-11-26-1", "shed", "Bark", "", 2, factors={"fuel": "bark"}, results={"burn_time": Figure(900.0, 5.0, "s")}
)
PELLETS = Entry("2026-11-27-1", "yard", "Pellets", "", 3, factors={"fuel": "pellets", "holes": "12"})
ALL = [CHIPS, BARK, PELLETS]


def names(**wanted: object) -> list[str]:
    return [entry.name for entry in find(ALL, Wanted(**wanted)).entries]  # type: ignore[arg-type]


def test_the_newest_comes_first() -> None:
    assert names() == ["Pellets", "Bark", "Chips, wide holes"]
    assert names(falling=False) == ["Chips, wide holes", "Bark", "Pellets"]


@pytest.mark.parametrize("text", ["chips", "WIDE chips", "wind", "holes 16", "2026-11-25-1"])
def test_words_are_sought_in_all_that_a_person_wrote(text: str) -> None:
    assert names(text=text) == ["Chips, wide holes"]


def test_every_word_must_be_there() -> None:
    assert names(text="chips bark") == []


def test_factors_and_bench_choose_together() -> None:
    assert names(factors={"fuel": "chips"}) == ["Chips, wide holes"]
    assert names(bench="yard") == ["Pellets", "Chips, wide holes"]
    assert names(bench="yard", factors={"holes": "12", "fuel": "pellets"}) == ["Pellets"]
    assert names(bench="shed", factors={"holes": "12"}) == []


def test_what_has_no_such_result_comes_last_either_way() -> None:
    assert names(sort="burn_time") == ["Chips, wide holes", "Bark", "Pellets"]
    assert names(sort="burn_time", falling=False) == ["Bark", "Chips, wide holes", "Pellets"]


def test_equals_stand_with_the_newest_first() -> None:
    equals = [replace(CHIPS, began_ns=at, name=str(at)) for at in (1, 3, 2)]
    for falling in (True, False):
        found = find(equals, Wanted(sort="burn_time", falling=falling))
        assert [entry.name for entry in found.entries] == ["3", "2", "1"]


def test_a_thousand_are_shown_a_page_at_a_time() -> None:
    many = [replace(CHIPS, id=str(n), began_ns=n) for n in range(2 * PER_PAGE + 1)]
    first, last = find(many, Wanted()), find(many, Wanted(page=99))
    assert (first.total, first.page, first.pages, first.first, len(first.entries)) == (101, 1, 3, 1, PER_PAGE)
    assert (last.page, last.first, [entry.id for entry in last.entries]) == (3, 101, ["0"])
    none = find([], Wanted(sort=BEGAN))
    assert (none.total, none.pages, none.first) == (0, 1, 0)


def test_choices_are_those_that_there_are() -> None:
    assert factor_values(ALL) == {"fuel": ["bark", "chips", "pellets"], "holes": ["12", "16"]}
