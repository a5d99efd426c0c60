"""Numbers as a person reads them: a value and the half-width of its 95 % interval, rounded together."""

import math
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

from uncertainties import UFloat

from emberline.heat.result import COVERAGE_95

PLUS_MINUS_MEANS = "± is half the width of the 95 % interval (1.96 standard uncertainties)"
"""What every ± on a page or in a terminal means."""

MINUS = "\N{MINUS SIGN}"
THIN_SPACE = "\N{NARROW NO-BREAK SPACE}"
SPACE = "\N{NO-BREAK SPACE}"


@dataclass(frozen=True, slots=True)
class Parts:
    """An uncertain number as it is set in type; `half` is empty where it has no uncertainty, `note` says why."""

    nominal: str
    half: str
    unit: str
    note: str = ""


def parts(value: UFloat, unit: str) -> Parts:
    """Round an uncertain number and its 95 % half-width together.

    The half-width keeps one or two digits by the rule of the Review of Particle Physics (introduction, "Rounding":
    two up to 354, one up to 949, else two of the next power), which stays within JCGM 100:2008, 7.2.6 (at most two);
    the value ends at the same place.

    Args:
        value: The number with its standard uncertainty.
        unit: Its unit; empty for a fraction, which is shown in percent; `1` for a ratio, which is shown as it is.
    """
    nominal, half, shown = _scaled(value, unit)
    if not math.isfinite(nominal):
        return Parts("not known", "", "")
    if half == 0.0:
        return Parts(_grouped(Decimal(f"{nominal:.4g}")), "", shown)
    if not math.isfinite(half):
        return Parts(_grouped(Decimal(f"{nominal:.4g}")), "", shown, "uncertainty not known")
    place = last_place(half)
    return Parts(rounded(nominal, place), rounded(half, place), shown)


def plain(value: UFloat, unit: str) -> str:
    """Write an uncertain number with its 95 % half-width on one line, such as `402.0 ± 3.3 s`; see `parts`."""
    told = parts(value, unit)
    half = f"{SPACE}±{SPACE}{told.half}" if told.half else ""
    shown = f"{SPACE}{told.unit}" if told.unit else ""
    note = f" ({told.note})" if told.note else ""
    return f"{told.nominal}{half}{shown}{note}"


def half_width(u: float, unit: str) -> str:
    """Write the 95 % half-width of a standard uncertainty alone, such as `± 3.3 s`; of a fraction in percent."""
    factor, shown = (100.0, "%") if unit == "" else (1.0, "" if unit == "1" else unit)
    half = u * factor * COVERAGE_95
    if not (math.isfinite(half) and half > 0.0):
        return ""
    return f"±{SPACE}{rounded(half, last_place(half))}{SPACE + shown if shown else ''}"


def clock(t_s: float) -> str:
    """Write a time as minutes and seconds, `m:ss`; minutes run on past 59, and earlier than zero has a minus."""
    whole = math.floor(abs(t_s) + 0.5)
    sign = MINUS if t_s < 0 and whole else ""
    return f"{sign}{whole // 60}:{whole % 60:02d}"


def moment(t_s: float, u_s: float) -> str:
    """Write an uncertain time as `m:ss ± s`, with tenths where the half-width needs two digits below ten seconds."""
    half = COVERAGE_95 * u_s
    if not math.isfinite(half) or half <= 0.0:
        return clock(t_s)
    if half >= 3.55:
        return f"{clock(t_s)}{SPACE}±{SPACE}{rounded(half, max(last_place(half), 0))}{SPACE}s"
    tenths = math.floor(abs(t_s) * 10.0 + 0.5)
    sign = MINUS if t_s < 0 and tenths else ""
    time = f"{sign}{tenths // 600}:{tenths // 10 % 60:02d}.{tenths % 10}"
    return f"{time}{SPACE}±{SPACE}{rounded(max(half, 0.1), -1)}{SPACE}s"


def spoken(t_s: float) -> str:
    """Write a length of time in words, such as `6 min 42 s`."""
    whole = math.floor(abs(t_s) + 0.5)
    hours, minutes, seconds = whole // 3600, whole // 60 % 60, whole % 60
    if hours:
        return f"{hours}{SPACE}h {minutes}{SPACE}min"
    return f"{minutes}{SPACE}min {seconds}{SPACE}s" if minutes else f"{seconds}{SPACE}s"


def last_place(half: float) -> int:
    """Return the power of ten of the last digit that a positive half-width deserves."""
    exponent = math.floor(math.log10(half))
    top_three = round(half / 10.0 ** (exponent - 2))
    return exponent - 1 if top_three <= 354 else exponent


def rounded(number: float, place: int) -> str:
    """Write a number rounded to a power of ten, with a true minus sign and thin spaces between groups of three."""
    step = Decimal(1).scaleb(place)
    return _grouped(Decimal(repr(float(number))).quantize(step, ROUND_HALF_EVEN))


def _scaled(value: UFloat, unit: str) -> tuple[float, float, str]:
    """Return the value, its 95 % half-width and the printed unit; fractions in percent."""
    factor, shown = (100.0, "%") if unit == "" else (1.0, "" if unit == "1" else unit)
    return value.nominal_value * factor, value.std_dev * factor * COVERAGE_95, shown


def _grouped(number: Decimal) -> str:
    """Write a decimal without an exponent; five digits and more are grouped (SI brochure, 5.4.4)."""
    whole, point, fraction = f"{abs(number):f}".partition(".")
    if len(whole) > 4:
        whole = f"{int(whole):,}".replace(",", THIN_SPACE)
    sign = MINUS if number < 0 else ""
    return f"{sign}{whole}{point}{fraction}"
