import math
import random
import re

import pytest
from uncertainties import ufloat

from emberline.heat.result import COVERAGE_95
from emberline.reports.figures import clock, last_place, moment, plain, spoken


def spaced(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("value", "half", "unit", "expected"),
    [
        (402.0, 3.332, "s", "402.0 ± 3.3 s"),
        (402.04, 5.9, "s", "402 ± 6 s"),
        (0.27193, 0.0050, "", "27.2 ± 0.5 %"),
        (0.3863, 0.0138, "", "38.6 ± 1.4 %"),
        (13207.0, 121.0, "J/g", "13 210 ± 120 J/g"),
        (13207.0, 420.0, "J/g", "13 200 ± 400 J/g"),
        (4321.0, 960.0, "W", "4300 ± 1000 W"),
        (9.996, 9.999, "g", "10 ± 10 g"),
        (-0.2, 4.2, "g", "0 ± 4 g"),
        (-12.34, 0.11, "g", "−12.34 ± 0.11 g"),
        (2.66, 0.21, "1", "2.66 ± 0.21"),
        (5.0, 0.0, "g", "5 g"),
        (12345.6, 0.0, "g", "12 350 g"),
    ],
)
def test_the_value_ends_where_the_half_width_ends(value: float, half: float, unit: str, expected: str) -> None:
    number = ufloat(value, half / COVERAGE_95) if half else value + 0.0 * ufloat(1.0, 1.0)
    assert spaced(plain(number, unit)) == expected


def test_what_is_not_a_number_is_said_in_words() -> None:
    assert plain(ufloat(math.nan, 1.0), "g") == "not known"
    assert spaced(plain(ufloat(5.0, math.inf), "g")) == "5 g (uncertainty not known)"


def test_rounding_agrees_with_the_particle_data_group_rule_of_a_reference_library() -> None:
    """The `uncertainties` package's default format follows the rule of the Review of Particle Physics, "Rounding"."""
    chance = random.Random(20261125)
    for _ in range(500):
        half = 10.0 ** chance.uniform(-3, 1.54)  # its format never rounds to tens
        value = chance.uniform(0.0, 4.0) * half + half
        reference = format(ufloat(value, half), "f")
        ours = plain(ufloat(value, half / COVERAGE_95), "g").replace("\N{NARROW NO-BREAK SPACE}", "")
        expected = re.fullmatch(r"([\d.]+)\+/-([\d.]+)", reference)
        found = re.match(r"([\d.]+)\s±\s([\d.]+)", ours)
        assert expected is not None
        assert found is not None
        assert float(found[1]) == pytest.approx(float(expected[1]), rel=1e-9)
        assert float(found[2]) == pytest.approx(float(expected[2]))


@pytest.mark.parametrize(
    ("half", "place"),
    [(0.354, -2), (0.355, -1), (0.949, -1), (0.950, -1), (0.999, -1), (1.0, -1), (3.54, -1), (3.55, 0), (117.0, 1)],
)
def test_the_edges_of_the_rounding_rule(half: float, place: int) -> None:
    """Review of Particle Physics, introduction, "Rounding": 100-354 two digits, 355-949 one, 950-999 to 1000."""
    assert last_place(half) == place


@pytest.mark.parametrize(
    ("t_s", "expected"),
    [
        (0.0, "0:00"),
        (59.4, "0:59"),
        (59.5, "1:00"),
        (402.2, "6:42"),
        (11120.0, "185:20"),
        (-5.0, "−0:05"),
        (-0.3, "0:00"),
    ],
)
def test_clock(t_s: float, expected: str) -> None:
    assert clock(t_s) == expected


@pytest.mark.parametrize(
    ("t_s", "half", "expected"),
    [
        (402.34, 3.3, "6:42.3 ± 3.3 s"),
        (402.34, 6.2, "6:42 ± 6 s"),
        (402.34, 24.0, "6:42 ± 24 s"),
        (402.34, 0.02, "6:42.3 ± 0.1 s"),
        (59.97, 0.5, "1:00.0 ± 0.5 s"),
        (-3.21, 1.2, "−0:03.2 ± 1.2 s"),
        (402.34, 0.0, "6:42"),
    ],
)
def test_moment(t_s: float, half: float, expected: str) -> None:
    assert spaced(moment(t_s, half / COVERAGE_95)) == expected


def test_spoken_lengths() -> None:
    assert [spaced(spoken(t)) for t in (42.0, 402.0, 1320.0, 7500.0)] == [
        "42 s",
        "6 min 42 s",
        "22 min 0 s",
        "2 h 5 min",
    ]
