"""What a page shows of a comparison, and where."""

import pytest

from emberline.reports.comparison_parts import burns_of, result_parts
from emberline.trials.comparison.comparison import Burn, Comparison, compare, grouped
from emberline.trials.comparison.confounding import Circumstances


def series(*pairs: tuple[int, float | None]) -> Comparison:
    burns = [
        Burn(
            str(n),
            None,
            "yard",
            None,
            {} if share is None else {"thermal_efficiency": {"value": share, "u": 0.01, "unit": "", "budget": {}}},
            {"thermal_efficiency": "no boil"},
            Circumstances(factors={"fill": f"{mm} mm"}),
        )
        for n, (mm, share) in enumerate(pairs)
    ]
    return compare(grouped(burns, ["fill"]), ["thermal_efficiency"], ["fill"])


PAIRS = ((40, 0.20), (40, 0.21), (60, 0.24), (60, 0.25), (80, 0.29), (80, None))


def test_everything_stands_within_its_box() -> None:
    (parts,) = result_parts(series(*PAIRS))
    assert (parts["title"], parts["unit"]) == ("Thermal efficiency", "%")
    places = [place for group in parts["groups"] for place in [*group["dots"], *(group["interval"] or [])]]
    assert min(places) >= 0.0
    assert max(places) <= 100.0
    labels = [float(tick["label"]) for tick in parts["ticks"]]
    assert labels == sorted(labels)
    assert 15.0 < labels[-1] < 40.0


def test_a_group_says_why_a_burn_has_no_figure() -> None:
    (parts,) = result_parts(series(*PAIRS))
    last = parts["groups"][-1]
    assert (last["n"], last["interval"], last["sd"]) == (1, None, "–")
    assert last["without"] == {"5": "no boil"}


def test_a_line_runs_through_its_burns_within_its_band() -> None:
    line = result_parts(series(*PAIRS))[0]["line"]
    assert len(line["burns"]) == 5
    for (x, y), (_, low), (_, high) in zip(line["line"], line["low"], line["high"], strict=True):
        assert 0.0 <= x <= 100.0
        assert low < y < high
    assert result_parts(series(*PAIRS[:4]))[0]["line"] is None


def test_a_single_value_still_has_an_axis() -> None:
    (parts,) = result_parts(series((40, 0.2)))
    assert parts["groups"][0]["dots"] == [50.0]
    assert parts["said"] == []


def test_curves_are_aligned_by_their_events() -> None:
    events = [{"kind": "lit", "t_s": 12.5}, {"kind": "pot_on", "t_s": 40.0}, {"kind": "pot_on", "t_s": 90.0}]
    documents = {str(n): {"events": events if n else []} for n in range(6)}
    found = burns_of(series(*PAIRS), documents)
    assert [one["group"] for one in found] == [0, 0, 1, 1, 2, 2]
    assert (found[0]["lit"], found[1]["lit"], found[1]["pot_on"]) == (None, 12.5, 40.0)


@pytest.mark.parametrize(("wished", "why"), [(None, "5 %"), (0.02, "2 percentage points")])
def test_the_wish_is_that_of_the_first_result(wished: float | None, why: str) -> None:
    said = result_parts(series((40, 0.20), (40, 0.25), (60, 0.21), (60, 0.24)), wished)[0]["said"]
    assert why in said[0].replace("\N{NO-BREAK SPACE}", " ")
