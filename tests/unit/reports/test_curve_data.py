"""Curves as numbers for a page."""

import json

from emberline.reports.curve_data import MOST_POINTS, curve_data
from unit.reports.made_up_burn import make_burn


def test_lines_come_by_panel_with_their_units_and_the_ends_of_their_intervals() -> None:
    data = curve_data(make_burn())
    assert [(panel["title"], panel["unit"]) for panel in data["panels"]] == [
        ("Water", "°C"), ("Flame", "°C"), ("Load cell", "g"), ("Told apart", "g"), ("Burning rate", "g/min"),
    ]  # fmt: skip
    for panel in data["panels"]:
        for line in panel["lines"]:
            assert len(line["values"]) == len(data["t_s"])
    (rate,) = data["panels"][-1]["lines"]
    middle = len(data["t_s"]) // 2
    assert rate["low"][middle] < rate["values"][middle] < rate["high"][middle]
    assert data["zero_s"] == 90.0
    json.dumps(data, allow_nan=False)


def test_what_nobody_measured_has_no_line() -> None:
    names = [
        line["name"] for panel in curve_data(make_burn(mass=False, pot=False))["panels"] for line in panel["lines"]
    ]
    assert "load" not in names
    assert "burning rate" not in names


def test_a_long_record_is_thinned_out() -> None:
    data = curve_data(make_burn(seconds=20_000))
    assert MOST_POINTS / 2 < len(data["t_s"]) <= MOST_POINTS
    assert data["end_s"] == 20_000
