"""When a bench raises its alarms, as far as a person may choose: the table `[alarms]` of the bench file."""

from dataclasses import dataclass

from emberline.bench.co_limits import CO_LIMITS, CoLimit
from emberline.bench.toml_reading import Hint, Quantity, Section
from emberline.bench.toml_writing import quoted

_FLAME = Quantity(1.0, 1_440.0, "min", hints=(Hint(1_440.0, 86_400.0, "seconds? this is in minutes"),))
_HEAT = Quantity(30.0, 150.0, "degC")


@dataclass(frozen=True, slots=True)
class AlarmRules:
    """Limits of a bench's alarms.

    Attributes:
        flame_longest_s: Time after which a flame that still burns is told: three hours, longer than a fill burns and
            than most who feed a stove stay beside it (common practice, no source).
        cell_hottest_c: Temperature of a load cell that is told. Cells keep their class from −10 to
            40 °C (OIML R 60, where their makers say no other; from memory) and may be used up to 60 or 70 °C (typical
            data sheet): the lower of these.
        co: Limits of carbon monoxide that hold; none where the sensor stands in smoke that nobody breathes.
    """

    flame_longest_s: float = 3.0 * 3_600.0
    cell_hottest_c: float = 60.0
    co: tuple[CoLimit, ...] = tuple(CO_LIMITS.values())


def read_alarm_rules(section: Section | None) -> AlarmRules:
    """Return the rules of a bench file's table; the usual ones where it says nothing."""
    usual = AlarmRules()
    if section is None:
        return usual
    minutes, hottest_c = section.number("flame_longest_min", _FLAME), section.number("cell_hottest_c", _HEAT)
    names = section.choices("co_limits", CO_LIMITS)
    section.close()
    return AlarmRules(
        usual.flame_longest_s if minutes is None else 60.0 * minutes,
        usual.cell_hottest_c if hottest_c is None else hottest_c,
        usual.co if names is None else tuple(CO_LIMITS[name] for name in names),
    )


def alarm_rules_text(rules: AlarmRules) -> list[str]:
    """Return the lines of a bench file that say all of the rules."""
    return [
        "[alarms]",
        f"flame_longest_min = {rules.flame_longest_s / 60.0!r}",
        f"cell_hottest_c = {rules.cell_hottest_c!r}",
        f"co_limits = [{', '.join(quoted(limit.name) for limit in rules.co)}]",
    ]
