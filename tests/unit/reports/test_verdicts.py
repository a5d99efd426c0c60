"""What a comparison says in words."""

import pytest

from emberline.reports.verdicts import counted, mean_and_interval, trend_words, verdict
from emberline.trials.comparison.comparison import Burn, Compared, compare, grouped
from emberline.trials.comparison.confounding import Circumstances


def burns(group: str, result: str, unit: str, *values: float) -> list[Burn]:
    return [
        Burn(f"{group}{n}", None, "yard", "beech-1", {result: {"value": v, "u": 0.1, "unit": unit, "budget": {}}})
        for n, v in enumerate(values)
    ]


def compared(result: str, unit: str, **groups: tuple[float, ...]) -> Compared:
    found = compare({name: burns(name, result, unit, *values) for name, values in groups.items()}, [result])
    return found.compared[0]


def said(one: Compared, wished: float | None = None) -> str:
    return verdict(one, one.differences[0], wished).replace("\N{NO-BREAK SPACE}", " ")


def test_a_difference_that_is_shown_says_how_much_and_how_sure() -> None:
    """Means of 402.8 and 361.4 s; the interval is that of `scipy.stats.ttest_ind(..., equal_var=False)`."""
    one = compared("time_to_boil", "s", A=(402.0, 411.0, 395.0, 407.0, 399.0), B=(361.0, 370.0, 352.0, 366.0, 358.0))
    assert said(one) == "B boils 41 s sooner than A (95 % interval 32 to 51 s; 5 and 5 burns)."


def test_the_sentence_turns_with_the_sign() -> None:
    one = compared("time_to_boil", "s", A=(361.0, 370.0, 352.0), B=(402.0, 411.0, 395.0))
    assert said(one).startswith("B boils 42 s later than A (95 % interval ")


def test_efficiencies_differ_by_percentage_points() -> None:
    one = compared("thermal_efficiency", "", A=(0.201, 0.199, 0.203), B=(0.251, 0.249, 0.252))
    assert "B is 5.0 percentage points higher in thermal efficiency than A" in said(one)


def test_no_difference_shown_says_what_would_show_one() -> None:
    one = compared("burn_time", "s", A=(1500.0, 1600.0, 1450.0), B=(1520.0, 1430.0, 1590.0))
    words = said(one)
    assert words.startswith("No difference in burn time is shown between A and B (95 % interval of B less A: −")
    assert "more burns of each would show one of 5 %, which is 76 s." in words


def test_a_wished_difference_of_ones_own_is_named_with_its_unit() -> None:
    one = compared("burn_time", "s", A=(1500.0, 1600.0, 1450.0), B=(1520.0, 1430.0, 1590.0))
    assert "more burns of each would show one of 50 s." in said(one, 50.0)


def test_enough_burns_say_what_they_would_have_shown() -> None:
    """Scatter of 1.73 s; four burns each resolve 2.38 of it (statsmodels' `TTestIndPower`)."""
    one = compared("burn_time", "s", A=(1500.0, 1503.0, 1498.0, 1501.0), B=(1502.0, 1499.0, 1501.0, 1500.0))
    assert "one of 4.1 s would most likely have been shown." in said(one)


def test_several_differences_are_counted() -> None:
    groups = {"A": (402.0, 411.0, 395.0), "B": (361.0, 370.0, 352.0), "C": (380.0, 385.0, 372.0)}
    assert counted(compared("time_to_boil", "s", **groups)).startswith("3 differences are looked at")
    assert counted(compared("time_to_boil", "s", A=groups["A"], B=groups["B"])) == ""


@pytest.mark.parametrize(
    ("unit", "values", "shown"),
    [("s", (402.0, 411.0, 395.0), "403 ± 20 s"), ("", (0.201, 0.199, 0.203), "20.1 ± 0.5 %"), ("s", (402.0,), "402 s")],
)
def test_a_mean_has_the_digits_that_its_interval_deserves(unit: str, values: tuple[float, ...], shown: str) -> None:
    one = compared("time_to_boil", unit, A=values)
    assert mean_and_interval(one, "A").replace("\N{NO-BREAK SPACE}", " ") == shown


def lined(*pairs: tuple[int, float]) -> str:
    series = [
        Burn(
            str(n),
            None,
            "yard",
            None,
            {"time_to_boil": {"value": s, "u": 1.0, "unit": "s", "budget": {}}},
            circumstances=Circumstances(factors={"fill": f"{mm} mm"}),
        )
        for n, (mm, s) in enumerate(pairs)
    ]
    found = compare(grouped(series, ["fill"]), ["time_to_boil"], ["fill"])
    return trend_words(found.compared[0], "fill", found.level_unit).replace("\N{NO-BREAK SPACE}", " ")


def test_a_trend_says_how_much_for_each_unit() -> None:
    """The slope's interval is that of `scipy.stats.linregress`: -1.275 +- 4.303 x 0.130."""
    words = lined((40, 410.0), (60, 380.0), (80, 365.0), (100, 330.0))
    assert words == "The time to boil falls by 1.3 s for each mm of fill (95 % interval 0.7 to 1.8 s; 4 burns)."


def test_no_trend_is_said_to_be_none() -> None:
    assert lined((40, 380.0), (60, 410.0), (80, 365.0)).startswith("No trend in time to boil is shown (95 % interval ")


def test_two_levels_have_no_words_of_a_trend() -> None:
    assert trend_words(compared("time_to_boil", "s", A=(1.0, 2.0)), "fill", "") == ""
