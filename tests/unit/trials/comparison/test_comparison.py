"""Groups of burns side by side."""

import pytest

from emberline.trials.comparison.comparison import Burn, compare, grouped, half_widths, more_burns, smallest_shown
from emberline.trials.comparison.confounding import Circumstances
from emberline.trials.comparison.errors import ComparisonError


def burn(trial: str, boil_s: float | None, hour: float = 0.0, left_out: str | None = None, **factors: str) -> Burn:
    results = (
        {} if boil_s is None else {"time_to_boil": {"value": boil_s, "u": 2.0, "unit": "s", "budget": {"boil": 2.0}}}
    )
    absent = {"time_to_boil": "the water never boiled"} if boil_s is None else {}
    return Burn(trial, None, "yard", "beech-1", results, absent, Circumstances(int(hour * 3.6e12), factors), left_out)


SERIES = [
    burn("1", 402.0, 1, holes="8"),
    burn("2", 361.0, 2, holes="12"),
    burn("3", 370.0, 3, holes="12"),
    burn("4", 411.0, 4, holes="8"),
    burn("5", 395.0, 5, holes="8"),
    burn("6", 352.0, 6, holes="12"),
    burn("7", None, 7, holes="12"),
    burn("8", 700.0, 8, "the lid fell into the fire", holes="12"),
]


def test_burns_are_grouped_by_a_factor_and_compared() -> None:
    found = compare(grouped(SERIES, ["holes"]), ["time_to_boil", "thermal_efficiency"], ["holes"])
    assert list(found.groups) == ["holes 8", "holes 12"]
    assert [one.result for one in found.compared] == ["time_to_boil"]
    boil = found.compared[0]
    assert boil.groups["holes 8"].sample is not None
    assert boil.groups["holes 8"].sample.n == 3
    assert boil.groups["holes 12"].without == {"7": "the water never boiled"}
    assert len(boil.differences) == 1
    assert boil.differences[0].value == pytest.approx(361.0 - 402.6667, abs=1e-3)
    assert [(one.trial, one.left_out) for one in found.left_out] == [("8", "the lid fell into the fire")]
    assert found.warnings == ()


def test_several_factors_make_groups_of_their_combinations() -> None:
    burns = [burn("1", 400.0, holes="8", fuel="chips"), burn("2", 400.0, holes="8")]
    assert list(grouped(burns, ["fuel", "holes"])) == ["fuel chips, holes 8", "fuel not given, holes 8"]


def test_a_factor_that_no_trial_has_is_refused_with_those_there_are() -> None:
    with pytest.raises(ComparisonError, match="'hole'; the factors are: holes"):
        grouped(SERIES, ["hole"])


def test_a_trial_in_two_groups_is_refused() -> None:
    with pytest.raises(ComparisonError, match="trial 1 stands in two groups"):
        compare({"A": SERIES[:2], "B": SERIES[:1]}, ["time_to_boil"])


def test_groups_of_excluded_burns_alone_are_refused() -> None:
    with pytest.raises(ComparisonError, match="all are excluded"):
        compare({"A": SERIES[7:]}, ["time_to_boil"])


def test_a_result_that_one_group_lacks_is_shown_for_the_other() -> None:
    found = compare({"A": SERIES[:1], "B": [SERIES[6]]}, ["time_to_boil"])
    assert found.compared[0].groups["B"].sample is None
    assert found.compared[0].differences == ()


def test_burns_still_to_make_are_those_beyond_what_is_there() -> None:
    found = compare(grouped(SERIES, ["holes"]), ["time_to_boil"]).compared[0].differences[0]
    assert more_burns(found, 1e4) == 0
    assert more_burns(found, smallest_shown(found) * 1.001) == 0
    assert more_burns(found, smallest_shown(found) * 0.5) > 3


def test_a_numeric_factor_of_three_levels_has_a_trend() -> None:
    burns = [burn(f"{mm}-{n}", 500.0 - mm + 3 * n, fill=f"{mm} mm") for mm in (40, 60, 80) for n in (0, 1)]
    found = compare(grouped(burns, ["fill"]), ["time_to_boil"], ["fill"])
    assert found.level_unit == "mm"
    assert found.compared[0].trend is not None
    assert found.compared[0].trend.slope == pytest.approx(-1.0)


def test_words_and_two_levels_have_none() -> None:
    assert compare(grouped(SERIES, ["holes"]), ["time_to_boil"], ["holes"]).compared[0].trend is None
    burns = [burn(fuel, 400.0, fuel=fuel) for fuel in ("chips", "pellets", "cones")]
    assert compare(grouped(burns, ["fuel"]), ["time_to_boil"], ["fuel"]).levels == {}


def test_intervals_are_looked_at_round_by_round() -> None:
    boil = compare(grouped(SERIES, ["holes"]), ["time_to_boil"], ["holes"]).compared[0]
    first, second, third = half_widths(boil)
    assert first is None
    low, high = boil.differences[0].interval_95
    assert third == pytest.approx(0.5 * (high - low))
    assert second is not None
