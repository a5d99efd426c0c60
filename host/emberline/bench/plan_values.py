"""The values of a plan's text by key, and the text made of changed values: how a plan is edited and compared.

A key is that of the text with the table it stands in, such as `fuel.char_left_g` or `factors.holes`. A list of tables
(`refuel`, `pot.visit`) is one value.
"""

import tomllib
from collections.abc import Mapping

from emberline.bench.plan import parse_plan
from emberline.bench.toml_writing import written

PlanValue = str | int | float | bool | list[dict[str, str | int | float | bool]]
"""What may stand at a key."""


def plan_values(text: str) -> dict[str, PlanValue]:
    """Return the values of a plan by key, in the order of the text.

    Raises:
        PlanError: listing everything wrong with the text.
    """
    parse_plan(text)
    values: dict[str, PlanValue] = {}
    for key, value in tomllib.loads(text).items():
        if isinstance(value, dict):
            values |= {f"{key}.{name}": inner for name, inner in value.items()}
            continue
        values[key] = value
    return values


def text_of(values: Mapping[str, PlanValue]) -> str:
    """Return the text of a plan with these values; remarks that a person wrote beside them are not in it.

    Raises:
        PlanError: listing everything wrong with the values.
    """
    text = unchecked_text(values)
    parse_plan(text)
    return text


def unchecked_text(values: Mapping[str, PlanValue]) -> str:
    """Return the text of these values, whether or not it is that of a plan."""
    table: dict[str, object] = {}
    for key, value in values.items():
        section, dot, name = key.partition(".")
        if not dot:
            table[key] = value
            continue
        inner = table.setdefault(section, {})
        if isinstance(inner, dict):
            inner[name] = value
    return written(table) if table else ""


def changed(text: str, values: Mapping[str, PlanValue | None]) -> str:
    """Return the text of a plan with some values set, or taken out where None.

    Raises:
        PlanError: listing everything wrong with the result.
    """
    kept = plan_values(text) | {key: value for key, value in values.items() if value is not None}
    return text_of({key: value for key, value in kept.items() if values.get(key, value) is not None})
