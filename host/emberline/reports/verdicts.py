"""What a comparison says, in plain sentences."""

from emberline.reports.figures import SPACE, last_place, rounded
from emberline.reports.wording import in_sentence
from emberline.trials.comparison.comparison import Compared, more_burns, smallest_shown
from emberline.trials.comparison.differences import Difference
from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.measured import interval

POINTS = "percentage points"
USUAL_AIM = 0.05
"""What is worth knowing where nobody says: a share of the mean."""

_LESS_AND_MORE = {
    "time_to_boil": ("boils {} sooner than", "boils {} later than"),
    "time_to_boil_from_lit": ("boils {} sooner after lighting than", "boils {} later after lighting than"),
    "burn_time": ("burns {} shorter than", "burns {} longer than"),
    "burning_rate_mean": ("burns {} slower than", "burns {} faster than"),
    "firepower_mean": ("gives {} less firepower than", "gives {} more firepower than"),
    "cooking_power": ("gives the pot {} less than", "gives the pot {} more than"),
    "char_left": ("leaves {} less char than", "leaves {} more char than"),
    "fuel_burned": ("burns {} less fuel than", "burns {} more fuel than"),
}
"""How `b` compares with `a` where its result is smaller, and where it is greater."""


def verdict(compared: Compared, difference: Difference, wished: float | None = None) -> str:
    """Return a difference in a sentence; where none is shown, with the burns that would show one.

    Args:
        compared: The result.
        difference: One of its differences.
        wished: The difference that a person wants to see shown, in the result's unit; None for a twentieth of the mean.
    """
    n = f"{difference.sample_a.n} and {difference.sample_b.n} burns"
    if not difference.shown:
        low, high = (amount(end, compared.unit, difference) for end in difference.interval_95)
        words = (
            f"No difference in {_plain_name(compared.result)} is shown between {difference.a} and {difference.b} "
            f"(95{SPACE}% interval of {difference.b} less {difference.a}: {low} to {high}{_unit(compared.unit)}; {n})"
        )
        return f"{words}; {_still(compared, difference, wished)}."
    name = _plain_name(compared.result)
    otherwise = (f"is {{}} lower in {name} than", f"is {{}} higher in {name} than")
    less, more = _LESS_AND_MORE.get(compared.result, otherwise)
    sign = -1.0 if difference.value < 0.0 else 1.0
    ends = sorted(sign * end for end in difference.interval_95)
    low, high = (amount(end, compared.unit, difference) for end in ends)
    much = f"{amount(abs(difference.value), compared.unit, difference)}{_unit(compared.unit)}"
    phrase = (less if sign < 0.0 else more).format(much)
    return (
        f"{difference.b} {phrase} {difference.a} (95{SPACE}% interval {low} to {high}{_unit(compared.unit)}; "
        f"{difference.sample_b.n} and {difference.sample_a.n} burns)."
    )


def trend_words(compared: Compared, factor: str, level_unit: str) -> str:
    """Return what a result does as a numeric factor grows; empty where there is no line."""
    found = compared.trend
    if found is None:
        return ""
    per = f" for each {level_unit} of {factor}" if level_unit else f" for one more of {factor}"
    scale = 100.0 if compared.unit == "" else 1.0
    low, high = (scale * end for end in found.slope_interval_95)
    place = last_place(max(0.5 * (high - low), 1e-12))
    unit, name = _unit(compared.unit), _plain_name(compared.result)
    if not found.shown:
        ends = f"{rounded(low, place)} to {rounded(high, place)}{unit}"
        return f"No trend in {name} is shown (95{SPACE}% interval {ends}{per}; {found.n} burns)."
    moves, sign = ("rises", 1.0) if found.slope > 0.0 else ("falls", -1.0)
    ends = " to ".join(rounded(end, place) for end in sorted((sign * low, sign * high)))
    much = f"{rounded(abs(found.slope) * scale, place)}{unit}"
    return f"The {name} {moves} by {much}{per} (95{SPACE}% interval {ends}{unit}; {found.n} burns)."


def counted(compared: Compared) -> str:
    """Return how several differences were counted together; empty where there is but one."""
    number = len(compared.differences)
    if number < 2:
        return ""
    alone = sum(d.p < 0.05 and not d.shown for d in compared.differences)
    rest = (
        "" if not alone else f" {alone} would count as shown if {'it' if alone == 1 else 'each'} were looked at alone."
    )
    return (
        f"{number} differences are looked at; the more there are, the more each must differ to be shown (Holm).{rest}"
    )


def amount(value: float, unit: str, difference: Difference) -> str:
    """Write a number with the digits that a difference's interval deserves; fractions in percent."""
    scale = 100.0 if unit == "" else 1.0
    low, high = difference.interval_95
    return rounded(value * scale, last_place(max(0.5 * (high - low) * scale, 1e-12)))


def mean_and_interval(compared: Compared, group: str) -> str:
    """Write a group's mean with the half-width of its interval by scatter; the mean alone of a single burn."""
    sample = compared.groups[group].sample
    scale, shown = (100.0, "%") if compared.unit == "" else (1.0, "" if compared.unit == "1" else compared.unit)
    unit = f"{SPACE}{shown}" if shown else ""
    if sample is None:
        return "–"
    if sample.u_mean is None or sample.u_mean == 0.0:
        return f"{sample.mean * scale:.4g}{unit}"
    low, high = interval(sample.mean * scale, sample.u_mean * scale, sample.n - 1)
    half = 0.5 * (high - low)
    place = last_place(half)
    return f"{rounded(sample.mean * scale, place)}{SPACE}±{SPACE}{rounded(half, place)}{unit}"


def _still(compared: Compared, difference: Difference, wished: float | None) -> str:
    """Return how many more burns it takes, or what these would have shown."""
    aim = USUAL_AIM * abs(difference.sample_a.mean) if wished is None else wished
    share = f"{100.0 * USUAL_AIM:.0f}{SPACE}%, which is " if wished is None else ""
    words = f"one of {share}{_aim(aim, compared.unit)}"
    try:
        more = more_burns(difference, aim)
        if more:
            return f"{more} more {'burn' if more == 1 else 'burns'} of each would show {words}"
        smallest = smallest_shown(difference)
    except ComparisonError as error:
        return f"for {words}, {error}"
    return f"one of {_aim(smallest, compared.unit)} would most likely have been shown"


def _aim(value: float, unit: str) -> str:
    scale = 100.0 if unit == "" else 1.0
    return f"{value * scale:.2g}{_unit(unit)}"


def _unit(unit: str) -> str:
    if unit == "":
        return f"{SPACE}{POINTS}"
    return "" if unit == "1" else f"{SPACE}{unit}"


def _plain_name(result: str) -> str:
    return in_sentence(result).removeprefix("the ")
