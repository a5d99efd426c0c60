"""Numbers that a person types, with or without a ±, and what is wrong with them."""

import re
from collections.abc import Mapping

from emberline.bench.plan_quantities import QUANTITIES
from emberline.heat.result import COVERAGE_95

_NUMBER = re.compile(r"([-+−]?\d+(?:[.,]\d+)?)(?:\s*(?:±|\+-|\+/-)\s*(\d+(?:[.,]\d+)?))?")


class GuideError(Exception):
    """What a person asked of a guide cannot be done.

    Attributes:
        problems: What is wrong, in words, by the field it stands beside; an empty name for the whole.
    """

    def __init__(self, problems: Mapping[str, str]) -> None:
        super().__init__("; ".join(problems.values()))
        self.problems = dict(problems)


def typed_numbers(
    texts: Mapping[str, str], keys: Mapping[str, str], scales: Mapping[str, float] | None = None
) -> dict[str, tuple[float, float]]:
    """Return what was typed, by key: value and standard uncertainty, 0 where the usual one is to hold.

    What stands after a ± is half of the 95 % interval, as on every screen.

    Args:
        texts: What was typed, by key; blank ones are left out.
        keys: The key of the plan's table of quantities, by key.
        scales: What a typed number is multiplied with, by key: 0.01 for one in percent.

    Raises:
        GuideError: Something is no number, or out of range.
    """
    found, problems = {}, {}
    for key, text in texts.items():
        if key not in keys or not text.strip():
            continue
        match = _NUMBER.fullmatch(text.strip())
        if match is None:
            problems[key] = f"{text.strip()!r} is no number: write it like 330 or 330 ± 2"
            continue
        scale = (scales or {}).get(key, 1.0)
        value = round(_float(match[1]) * scale, 12)
        wrong = QUANTITIES[keys[key]].problem(value)
        if wrong is not None:
            problems[key] = wrong
            continue
        found[key] = (value, 0.0 if match[2] is None else _float(match[2]) * scale / COVERAGE_95)
    if problems:
        raise GuideError(problems)
    return found


def _float(text: str) -> float:
    return float(text.replace(",", ".").replace("−", "-"))
