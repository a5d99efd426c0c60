"""The published table: what others need to judge a burn."""

from typing import Any

from emberline.bench.plan import parse_plan
from emberline.reports.burn_table import COLUMNS, table_row

DOCUMENT: dict[str, Any] = {
    "trial": "2026-11-25-1",
    "excluded": None,
    "results": {"time_to_boil": {"value": 402.0, "u": 1.7, "unit": "s"}},
    "absent": {"thermal_efficiency": "weigh the fuel"},
    "conditions": {
        "air_c": 12.0, "pressure_pa": None, "load_wavering_g": 0.36, "water_rise_k": 84.2, "co_mean_ppm": None,
        "co_highest_ppm": 63.4,
    },
}  # fmt: skip


def cells(document: dict[str, Any], plan: str) -> dict[str, str]:
    found = table_row(document, parse_plan(plan), "8 holes").cells
    return dict(zip(COLUMNS, (one.replace("\N{NO-BREAK SPACE}", " ") for one in found), strict=True))


def test_a_burn_is_told_with_its_conditions() -> None:
    told = cells(DOCUMENT, "[fuel]\nmoisture_dry = 0.125\n[pot]\ntare_g = 412\nlid = true\n")
    assert told["Time to boil"] == "402.0 ± 3.3 s"
    assert told["Thermal efficiency"] == "none: weigh the fuel"
    assert told["Efficiency with char credit"] == "none: not worked out"
    assert told["Moisture, wet basis"].startswith("11.1 ± ")
    assert (told["Pot"], told["Lid"]) == ("412.0 ± 1.0 g", "on")
    assert (told["Wind on the scale"], told["Water's rise"], told["Air"]) == ("0.36 g", "84.2 K", "12.0 °C")
    assert (told["Carbon monoxide, mean"], told["Carbon monoxide, highest"]) == ("not measured", "63 ppm")


def test_what_nobody_gave_is_said_to_be_missing() -> None:
    told = cells(DOCUMENT, "")
    assert (told["Moisture, wet basis"], told["Pot"], told["Lid"]) == ("not given", "not given", "not given")


def test_a_burn_that_does_not_count_says_why() -> None:
    row = table_row({**DOCUMENT, "excluded": {"why": "rain"}}, parse_plan(""), "8 holes")
    assert (row.trial, row.group, row.counts) == ("2026-11-25-1", "8 holes", "rain")
