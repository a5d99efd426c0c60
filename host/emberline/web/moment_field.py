"""A moment as a person types it: minutes and seconds from lit, as all tables show it."""

import math
import re

from emberline.trials.corrections import CorrectionError

_CLOCK = re.compile(r"([-−]?)(\d{1,4}):([0-5]?\d(?:[.,]\d+)?)")
_SECONDS = re.compile(r"([-−]?)(\d{1,6}(?:[.,]\d+)?)\s*s?")


def moment_s(text: str, field: str = "t") -> float:
    """Return the seconds that a text means: `9:34`, `9:34.5`, `-0:20`, or seconds alone as `574` and `574 s`.

    Raises:
        CorrectionError: It means none; names the field.
    """
    text = text.strip()
    found = _CLOCK.fullmatch(text)
    if found:
        sign, minutes, seconds = found.groups()
        value = 60.0 * int(minutes) + float(seconds.replace(",", "."))
    else:
        found = _SECONDS.fullmatch(text)
        if not found:
            raise CorrectionError(
                "say when, in minutes and seconds from lit such as 9:34, or pick it on the curves"
                if not text
                else f"{text!r} is no moment: write minutes and seconds from lit, such as 9:34",
                field,
            )
        sign, seconds = found.groups()
        value = float(seconds.replace(",", "."))
    return -value if sign else value


def number(text: str, field: str, what: str) -> float:
    """Return a number that a person typed, with a point or a comma.

    Raises:
        CorrectionError: It is none; names the field.
    """
    try:
        value = float(text.strip().replace(",", ".").replace("−", "-"))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise CorrectionError(f"{text.strip()!r} is no number: write {what}", field)
    return value


def whole(text: str) -> int | None:
    """Return a number that counts something, as it stands in an address or a form; None for anything else."""
    return int(text) if re.fullmatch("[0-9]{1,9}", text) else None


def moment_text(t_s: float) -> str:
    """Write a moment as a field holds it, to the tenth of a second."""
    tenths = math.floor(abs(t_s) * 10.0 + 0.5)
    sign = "-" if t_s < 0 and tenths else ""
    return f"{sign}{tenths // 600}:{tenths // 10 % 60:02d}.{tenths % 10}"
