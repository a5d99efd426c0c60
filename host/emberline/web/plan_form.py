"""A plan as a form: a field for each key, with its unit, what is meant, and how sure it is."""

from collections.abc import Mapping
from dataclasses import dataclass

from emberline.bench.errors import PlanError
from emberline.bench.plan_fields import FIELDS, LID
from emberline.bench.plan_values import PlanValue


@dataclass(frozen=True, slots=True)
class Unreadable:
    """Why a form cannot be read, by field."""

    by_field: Mapping[str, str]


FACTORS = "factors"
"""Field of the conditions varied on purpose, a line each."""


def shown(values: Mapping[str, PlanValue]) -> dict[str, str]:
    """Return what the fields of a form hold for a plan's values."""
    text = {field.key: _text(values[field.key]) for field in FIELDS if field.key in values}
    text |= {field.u_key: _text(values[field.u_key]) for field in FIELDS if field.u_key in values}
    if "pot.lid" in values:
        text["pot.lid"] = next(name for name, flag in LID.items() if flag is values["pot.lid"])
    factors = {key.partition(".")[2]: value for key, value in values.items() if key.startswith(f"{FACTORS}.")}
    text[FACTORS] = "\n".join(f"{name} = {value}" for name, value in factors.items())
    return text


def read(typed: Mapping[str, str], before: Mapping[str, PlanValue]) -> dict[str, PlanValue | None] | Unreadable:
    """Return the values that a form asks for, or why it cannot be read.

    Args:
        typed: What was typed, by field.
        before: The values of the plan as it is; factors that are not typed any more are taken out.
    """
    values: dict[str, PlanValue | None] = {}
    refusals: dict[str, str] = {}
    for field in FIELDS:
        keys = (field.key, field.u_key) if field.is_number else (field.key,)
        for key in keys:
            text = typed.get(key, "").strip()
            if not text:
                values[key] = None
            elif field.key == "pot.lid":
                values[key] = LID.get(text, False)
            elif not field.is_number:
                values[key] = text
            elif (number := _number(text)) is None:
                refusals[key] = f"{text!r} is no number"
            else:
                values[key] = number
    values |= {key: None for key in before if key.startswith(f"{FACTORS}.")}
    for line in typed.get(FACTORS, "").splitlines():
        name, equals, value = (part.strip() for part in line.partition("="))
        if name and equals and value:
            values[f"{FACTORS}.{name}"] = value
        elif line.strip():
            refusals[FACTORS] = f"{line.strip()!r}: write a condition and its value, such as holes = 12"
    return Unreadable(refusals) if refusals else values


def problems(error: PlanError) -> dict[str, str]:
    """Return the problems of a plan beside the fields that they are about; under "" those of none."""
    told: dict[str, str] = {}
    keys = [key for field in FIELDS for key in ((field.key, field.u_key) if field.is_number else (field.key,))]
    for problem in error.problems:
        first = problem.text.partition(" ")[0]
        key = next((key for key in keys if key.rpartition(".")[2] == first), "")
        told[key] = f"{told[key]}; {problem.text}" if key in told else problem.text
    return told


def _number(text: str) -> float | None:
    try:
        number = float(text.replace(",", ".").replace("\N{MINUS SIGN}", "-").replace(" ", ""))
    except ValueError:
        return None
    return number if abs(number) < 1e12 else None


def _text(value: PlanValue) -> str:
    if isinstance(value, float):
        return f"{value:.10g}"
    return str(value)
