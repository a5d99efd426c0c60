"""From answers to a plan, and from two plans to what changed between them."""

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

from emberline.bench.plan import Plan, parse_plan
from emberline.bench.toml_writing import written
from emberline.trials.guide.state import Guide

AFTERWARDS = {
    "fuel": ("char_left_g", "unburnt_g", "char_snuffed_s"),
    "pot": ("final_water_g", "final_water_delay_s", "visit"),
}
"""What is only known after a burn, by table."""
WEIGHED_ANEW = {"fuel": ("mass_g", "starter_g", "kindling_g"), "pot": ("water_g", "water_start_c")}
"""What each burn weighs for itself."""
_DIGITS = 6


def plan_table(guide: Guide) -> dict[str, Any]:
    """Return the plan of a guide as it stands, as tables."""
    table: dict[str, Any] = deepcopy(dict(guide.base))
    for answer in guide.answers.values():
        for key, (value, u) in answer.values.items():
            put(table, key, value, u)
    if "shown_g" not in table.get("load_cell", {}):
        # A known mass that nobody laid on says nothing.
        table.get("load_cell", {}).pop("known_g", None)
    return {name: part for name, part in table.items() if part != {}}


def plan_text(guide: Guide) -> str:
    """Return the plan of a guide as it stands."""
    return written(plan_table(guide))


def put(table: dict[str, Any], key: str, value: float, u: float) -> None:
    """Set a number of a plan and its standard uncertainty; `key` is `table.name`."""
    name, _, leaf = key.partition(".")
    part = table.setdefault(name, {})
    part[leaf] = _short(value)
    part.pop(f"u_{leaf}", None)
    if u > 0.0:
        part[f"u_{leaf}"] = _short(u)


def merged(*tables: Mapping[str, Any]) -> dict[str, Any]:
    """Return tables laid over each other, the later ones on top."""
    found: dict[str, Any] = {}
    for table in tables:
        for key, value in table.items():
            below = found.get(key)
            found[key] = merged(below, value) if isinstance(below, dict) and isinstance(value, Mapping) else value
    return deepcopy(found)


def begun_from(last: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the next burn takes over from a plan: all but its name and what each burn weighs for itself."""
    table = deepcopy(dict(last))
    known_g = table.get("load_cell", {}).get("known_g")
    for name in ("label", "series", "run", "refuel", "load_cell"):
        table.pop(name, None)
    if known_g is not None:
        table["load_cell"] = {"known_g": known_g}
    for gone in (AFTERWARDS, WEIGHED_ANEW):
        for name, leaves in gone.items():
            for leaf in leaves:
                for key in (leaf, f"u_{leaf}"):
                    table.get(name, {}).pop(key, None)
    return table


@dataclass(frozen=True, slots=True)
class Change:
    """What differs between two burns.

    Attributes:
        what: What it is, in words.
        before: What it was.
        after: What it is.
    """

    what: str
    before: str
    after: str

    def __str__(self) -> str:
        return f"{self.what}: {self.before} before, {self.after} now"


def changes(last: Mapping[str, Any], now: Mapping[str, Any]) -> list[Change]:
    """Return what changed from one plan to the next: factors, the lot, and facts beyond what weighing scatters.

    A fact that only one of them has is no change: nobody knows whether it changed.
    """
    before, after = parse_plan(written(last)), parse_plan(written(now))
    found = [
        Change(name, before.factors.get(name, "not said"), after.factors.get(name, "not said"))
        for name in sorted({*before.factors, *after.factors})
        if before.factors.get(name) != after.factors.get(name)
    ]
    named = {change.what for change in found}
    if before.fuel.lot != after.fuel.lot and before.fuel.lot and after.fuel.lot and "fuel" not in named:
        found.append(Change("fuel lot", before.fuel.lot, after.fuel.lot))
    # A new pot or fuel brings its own mass or moisture: that is one change.
    brought = {"fuel": ("fuel.moisture_wet",), "pot": ("pot.tare_g", "pot.lid_g", "pot.lid")}
    new = {*named, *(("fuel",) if before.fuel.lot != after.fuel.lot else ())}
    told = {key for name in new for key in brought.get(name, ())}
    for key, what, unit, share, least in _FACTS:
        one, other = _fact(before, key), _fact(after, key)
        if key in told or one is None or other is None:
            continue
        if abs(one - other) > max(least, share * abs(one)):
            scale, shown = (100.0, "%") if unit == "" else (1.0, unit)
            found.append(Change(what, f"{one * scale:.4g} {shown}", f"{other * scale:.4g} {shown}"))
    if before.pot and after.pot and before.pot.lid != after.pot.lid and "pot.lid" not in told:
        found.append(Change("lid", _yes(before.pot.lid), _yes(after.pot.lid)))
    return found


# What two weighings of the same differ by, and what changes a burn: a fiftieth of the fuel or of the water, a point of
# moisture (common practice, no source).
_FACTS = (
    ("fuel.mass_g", "mass of the fuel", "g", 0.02, 2.0),
    ("fuel.moisture_wet", "moisture", "", 0.0, 0.01),
    ("fuel.starter_g", "starter", "g", 0.2, 1.0),
    ("fuel.kindling_g", "kindling", "g", 0.2, 2.0),
    ("pot.tare_g", "mass of the pot", "g", 0.01, 3.0),
    ("pot.lid_g", "mass of the lid", "g", 0.01, 3.0),
    ("pot.water_g", "water", "g", 0.02, 5.0),
)


def _fact(plan: Plan, key: str) -> float | None:
    name, _, leaf = key.partition(".")
    part: object = plan.fuel
    if name == "pot":
        part = None if plan.pot is None else plan.pot.visit(0) if leaf == "water_g" else plan.pot
    value = getattr(part, leaf, None)
    return None if value is None else float(value.nominal_value)


def _yes(flag: bool) -> str:
    return "on" if flag else "none"


def _short(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")
