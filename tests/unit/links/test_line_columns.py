"""What stands where in lines that nobody has described."""

import numpy as np
import pytest

from emberline.bench.channels import Role
from emberline.bench.text_lines import TextLines, TimeUnit
from emberline.curves.checkup.signal import Fault, Nature
from emberline.links.errors import LinkError
from emberline.links.line_columns import ColumnMap, LinesHeard, map_columns, signals_of
from emberline.links.text_line import Values, read_text_line


def heard(*lines: str, header: str = "", every_s: float = 0.5) -> LinesHeard:
    found = []
    for k, line in enumerate(lines):
        values = read_text_line(line.encode())
        assert isinstance(values, Values)
        found.append((values, 7.0 + every_s * k))
    return LinesHeard(tuple(found), tuple(header.split(",")) if header else ())


def columns(start: int = 20_000, per_line: int = 500, count: int = 12) -> list[str]:
    return [f"{start + per_line * k},{21 + 0.1 * k:.1f},{1042.7 - k:.1f},{19.5}" for k in range(count)]


def mapped(lines: LinesHeard, **wanted: str) -> ColumnMap:
    return map_columns(lines, wanted)


@pytest.mark.parametrize(
    ("per_line", "unit"),
    [(500, TimeUnit.MILLISECONDS), (500_000, TimeUnit.MICROSECONDS)],
)
def test_values_tell_the_time_and_make_a_guess_of_the_rest(per_line: int, unit: TimeUnit) -> None:
    found = mapped(heard(*columns(per_line=per_line)))
    assert found.lines == TextLines(("2", "3", "4"), 4, "1", unit)
    assert found.roles == {"2": Role.WATER, "3": Role.MASS, "4": Role.FLAME}
    assert all("a guess" in found.reasons[name] for name in found.roles)
    assert (found.left, found.odd) == ((), 0)


def test_seconds_with_decimals_are_a_time_too() -> None:
    found = mapped(heard(*[f"{3.0 + 0.5 * k} {20.0} {900.0}" for k in range(10)]))
    assert (found.lines.time, found.lines.time_unit) == ("1", TimeUnit.SECONDS)


def test_a_header_names_what_values_cannot_tell() -> None:
    found = mapped(heard(*columns(), header="ms,flame temp,scale g,water temp"))
    assert found.roles == {"2": Role.FLAME, "3": Role.MASS, "4": Role.WATER}
    assert found.reasons["4"] == "it is called water temp"


def test_labels_name_themselves() -> None:
    found = mapped(heard(*[f"water: {20 + k} mass: {900 - k} battery: 5.0" for k in range(6)]))
    assert found.lines == TextLines(("water", "mass"))
    assert found.roles == {"water": Role.WATER, "mass": Role.MASS}
    assert found.left == ("battery",)


def test_beside_a_name_that_tells_what_a_burn_needs_is_guessed_and_nothing_else() -> None:
    found = mapped(heard(*[f"T1: {20 + k} mass: {900 - k} battery: 5.0" for k in range(6)]))
    assert found.roles == {"mass": Role.MASS, "T1": Role.WATER}
    assert found.left == ("battery",)


def test_units_tell_a_temperature_from_a_mass_and_counts_come_before_grams() -> None:
    found = mapped(heard(*["A: 70.1 F, B: 20.5 g, D: 3"] * 5))
    assert found.roles == {"A": Role.WATER, "B": Role.MASS}
    assert mapped(heard(*["70.5 491822 21.5"] * 5)).roles == {"2": Role.MASS, "3": Role.WATER}


def test_a_persons_word_replaces_every_guess() -> None:
    found = mapped(heard(*columns()), ambient="4", mass="3")
    assert found.roles == {"4": Role.AMBIENT, "3": Role.MASS}
    assert found.left == ("2",)
    assert mapped(heard(*columns()), t_s="1", water="2").lines.time == "1"


@pytest.mark.parametrize(
    ("wanted", "told"),
    [
        ({"water": "9"}, "they have 1, 2, 3, 4"),
        ({"heat": "1"}, "not 'heat'"),
        ({"t_s": "3"}, "does not grow like a time"),
    ],
)
def test_a_word_that_does_not_fit_is_told(wanted: dict[str, str], told: str) -> None:
    with pytest.raises(LinkError, match=told):
        map_columns(heard(*columns()), wanted)


def test_lines_without_anything_of_a_stove_are_told() -> None:
    with pytest.raises(LinkError, match="only 1 lines"):
        mapped(heard("1,2"))
    with pytest.raises(LinkError, match="--column water=2"):
        mapped(heard("nan", "nan", "nan"))


def test_a_mass_that_falls_or_stands_is_no_time() -> None:
    assert mapped(heard(*[f"{20.0},{900.0 - 0.1 * k}" for k in range(20)])).lines.time is None
    assert mapped(heard(*[f"{20.0},{1000}" for k in range(20)])).lines.time is None


def test_lines_of_another_shape_are_counted() -> None:
    found = mapped(heard(*columns(), "5,6"))
    assert found.odd == 1
    assert found.lines.columns == 4


def test_large_whole_numbers_are_counts_that_nobody_has_calibrated() -> None:
    lines = heard(*[f"{20.5} {491_822 + 7 * k}" for k in range(10)])
    found = mapped(lines)
    assert found.roles == {"1": Role.WATER, "2": Role.MASS}
    mass = signals_of(lines, found)["2"]
    assert (mass.nature, mass.coded, mass.unit) == (Nature.BRIDGE, True, "g")
    assert np.isnan(mass.scale)


def test_signals_have_the_device_s_own_times_and_faults_are_counted() -> None:
    lines = heard(*columns()[:6], "23000,nan,1000,20", *columns(start=23_500))
    signals = signals_of(lines, mapped(lines))
    assert np.diff(signals["3"].t_s) == pytest.approx(0.5)
    assert signals["2"].faults == {Fault.UNKNOWN: 1}
    assert np.isnan(signals["2"].raw[6])
    assert signals["2"].nature is Nature.THERMOCOUPLE


def test_without_a_time_signals_have_times_of_arrival_none_of_them_twice() -> None:
    lines = heard(*["20.5 900"] * 8, every_s=0.0)
    assert len(signals_of(lines, mapped(lines))["2"].t_s) == 1
