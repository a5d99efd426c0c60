"""The table of a series as it is published: every burn with what others need to judge it, also those that failed."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import nan
from typing import Any

from uncertainties import ufloat

from emberline.bench.plan import Plan
from emberline.reports.figures import SPACE, plain
from emberline.reports.wording import result_title

Document = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class TableRow:
    """One burn.

    Attributes:
        trial: Its id.
        group: The group to which it belongs.
        counts: Why it does not count; empty where it does.
        cells: Its cells, by column.
    """

    trial: str
    group: str
    counts: str
    cells: tuple[str, ...]


COLUMNS = (
    result_title("time_to_boil"),
    result_title("thermal_efficiency"),
    result_title("thermal_efficiency_char_credit"),
    "Moisture, wet basis",
    "Pot",
    "Lid",
    "Wind on the scale",
    "Water's rise",
    "Air",
    "Carbon monoxide, mean",
    "Carbon monoxide, highest",
)


def table_row(document: Document, plan: Plan, group: str) -> TableRow:
    """Return the row of a burn.

    Args:
        document: Its summary.
        plan: Its plan.
        group: Its group.
    """
    excluded = document["excluded"]
    told = document["conditions"]
    pot = plan.pot
    cells = (
        _result(document, "time_to_boil"),
        _result(document, "thermal_efficiency"),
        _result(document, "thermal_efficiency_char_credit"),
        "not given" if plan.fuel.moisture_wet is None else plain(plan.fuel.moisture_wet, ""),
        "not given" if pot is None or pot.tare_g is None else plain(pot.tare_g, "g"),
        "not given" if pot is None else "on" if pot.lid else "off",
        _told(told["load_wavering_g"], lambda value: f"{value:.2g}{SPACE}g"),
        _told(told["water_rise_k"], lambda value: f"{value:.1f}{SPACE}K"),
        _told(told["air_c"], lambda value: f"{value:.1f}{SPACE}°C"),
        _told(told["co_mean_ppm"], lambda value: f"{value:.0f}{SPACE}ppm"),
        _told(told["co_highest_ppm"], lambda value: f"{value:.0f}{SPACE}ppm"),
    )
    return TableRow(document["trial"], group, "" if excluded is None else excluded["why"], cells)


def _result(document: Document, name: str) -> str:
    found = document["results"].get(name)
    if found is None:
        return f"none: {document['absent'].get(name, 'not worked out')}"
    return plain(ufloat(found["value"], found["u"] or nan), found["unit"])


def _told(value: float | None, words: Callable[[float], str]) -> str:
    return "not measured" if value is None else words(value)
