import json
from contextlib import suppress
from datetime import datetime

import pytest
from hypothesis import given, seed, settings
from hypothesis import strategies as st
from uncertainties import UFloat

from emberline.bench.plan import PlanError, parse_plan
from emberline.bench.toml_reading import SURE, Hint, Quantity, Reading, nearest

MASS = Quantity(1.0, 1000.0, "g", u=0.5, hints=(Hint(1e-3, 1.0, "kilograms?"),))


def said(reading: Reading) -> list[str]:
    return [str(problem) for problem in reading.problems]


def known(number: UFloat | None) -> UFloat:
    assert number is not None
    return number


def test_a_syntax_error_is_one_problem_with_its_line() -> None:
    reading = Reading("a = 1\nb = \n")
    assert not reading.readable
    assert len(reading.problems) == 1
    assert reading.problems[0].line == 2
    assert reading.problems[0].text.startswith("not TOML: ")
    assert "(at line" not in reading.problems[0].text


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('a = "x', 1),
        ('a = 1\nb = "x\nc = 2\n', 2),
        ("a = 1\nb = 'x\nc = 2\n", 2),
        ("a = 1  # a maker's\nb = { c = \"x, d = 1 }\n", 2),
        ('a = sticks"\n', 1),
    ],
)
def test_a_missing_quote_is_told_in_plain_words_where_it_is(text: str, line: int) -> None:
    (problem,) = Reading(text).problems
    assert problem.line == line
    assert problem.text.startswith("not TOML: a quote is missing: ")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[fuel]\nmass_g = 2,0\n", "write 2.0, not 2,0"),
        ("a = 1\nb = { c = -0,15 }\n", "write -0.15, not -0,15"),
        ('a = 1\nb = 2,5  # the maker\'s "guess"\n', "write 2.5, not 2,5"),
    ],
)
def test_a_decimal_comma_is_told_in_plain_words_where_it_is(text: str, words: str) -> None:
    (problem,) = Reading(text).problems
    assert problem.line == 2
    assert problem.text == f"not TOML: decimals have a point: {words}"


@pytest.mark.parametrize("text", ["a = [1,2\nb = 3\n", "a = it's\nb = \n", 'a = """x\ny"""\nb = \n', "a = [\n"])
def test_no_other_slip_is_taken_for_a_decimal_comma(text: str) -> None:
    assert "decimals" not in Reading(text).problems[0].text


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("format = 2", "format 2 is not known"),
        ("format = 2.0", "format 2 is not known"),
        ('format = "1"', "must be a number"),
    ],
)
def test_other_formats_are_refused(text: str, problem: str) -> None:
    assert problem in said(Reading(text))[0]


def test_format_one_is_assumed() -> None:
    assert not Reading("").problems
    assert not Reading("format = 1").problems


def test_numbers_come_with_their_assumed_uncertainty_and_name() -> None:
    reading = Reading("[fuel]\nmass_g = 300")
    section = reading.root.section("fuel")
    assert section is not None
    mass = known(section.uncertain("mass_g", MASS))
    assert (mass.n, mass.s, mass.tag) == (300.0, 0.5, "fuel.mass_g")


def test_a_u_key_takes_the_place_of_the_assumed_uncertainty() -> None:
    reading = Reading("mass_g = 300\nu_mass_g = 2")
    assert known(reading.root.uncertain("mass_g", MASS)).s == 2.0
    reading.root.close()
    assert not reading.problems


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("mass_g = 0.31", "line 1: mass_g = 0.31 is outside 1 to 1000 g: kilograms?"),
        ("mass_g = 2000", "line 1: mass_g = 2000 is outside 1 to 1000 g"),
        ('mass_g = "300"', "line 1: mass_g must be a number"),
        ("mass_g = nan", "line 1: mass_g must be a number"),
        (f"mass_g = 1{'0' * 400}", "line 1: mass_g must be a number"),
        ("mass_g = true", "line 1: mass_g must be a number"),
        ("mass_g = 300\nu_mass_g = 0", "line 2: u_mass_g must be above 0: leave it out for the usual 0.5 g"),
        ("mass_g = 300\nu_mass_g = -1", "line 2: u_mass_g = -1 is outside"),
        ("u_mass_g = 1", "line 1: u_mass_g has no mass_g"),
        ("mass_q = 300", "line 1: unknown key mass_q; did you mean mass_g?"),
        ("zzz = 300", "line 1: unknown key zzz"),
    ],
)
def test_what_is_wrong_with_a_number_is_said_with_its_line(text: str, problem: str) -> None:
    reading = Reading(text)
    reading.root.uncertain("mass_g", MASS)
    reading.root.close()
    assert len(said(reading)) == 1
    assert said(reading)[0].startswith(problem)


def test_a_sure_zero_stays_sure() -> None:
    starter = Reading("starter_g = 0").root.uncertain("starter_g", Quantity(0.0, 10.0, "g", u=0.5, zero_is_sure=True))
    assert known(starter).s == SURE


def test_relative_uncertainties_follow_the_value() -> None:
    assert Quantity(0.0, 1e5, "J/g", u=1.0, u_relative=0.02).assumed_u(18_400.0) == pytest.approx(368.0)


def test_lines_are_found_in_tables_lists_and_inline_tables() -> None:
    text = """\
factors = { fuel = [1] }

[pot]  # the pot
tare_g = 0
[[pot.visit]]
"mass_g" = 300
[[pot.visit]]
mass_g = -1
[place.deep]
word = 3
"""
    reading = Reading(text)
    reading.root.words("factors")
    pot, place = reading.root.section("pot"), reading.root.section("place")
    assert pot is not None
    assert place is not None
    pot.number("tare_g", MASS)
    for visit in pot.sections("visit"):
        visit.number("mass_g", MASS)
    deep = place.section("deep")
    assert deep is not None
    deep.text("word")
    assert [problem.line for problem in reading.problems] == [1, 4, 8, 10]


def test_tags_count_lists_from_one() -> None:
    visits = Reading("[[visit]]\nmass_g = 5\n[[visit]]\nmass_g = 6").root.sections("visit")
    assert [known(visit.uncertain("mass_g", MASS)).tag for visit in visits] == ["visit.1.mass_g", "visit.2.mass_g"]


def test_dotted_keys_have_lines() -> None:
    reading = Reading("\npot.tare_g = 0")
    pot = reading.root.section("pot")
    assert pot is not None
    pot.number("tare_g", MASS)
    assert reading.problems[0].line == 2


def test_tables_and_lists_of_tables_are_not_mixed_up() -> None:
    reading = Reading("[[pot]]\n[refuel]\n")
    assert reading.root.section("pot") is None
    assert reading.root.sections("refuel") == []
    assert said(reading) == [
        "line 1: pot must be a table: write [pot] once, and its keys below it",
        "line 2: refuel must be a list of tables: write [[refuel]] with doubled brackets",
    ]


def test_words_flags_choices_and_whole_numbers() -> None:
    reading = Reading('w = { a = "x", b = 12, c = 1.5 }\nf = true\nc = "red"\nn = 3')
    root = reading.root
    assert root.words("w") == {"a": "x", "b": "12", "c": "1.5"}
    assert root.flag("f") is True
    assert root.choice("c", ["red", "blue"]) == "red"
    assert root.whole("n", Quantity(0, 5, "")) == 3
    assert root.words("none") == {}
    assert root.flag("none") is None
    assert root.whole("none", Quantity(0, 5, "")) is None
    root.close()
    assert not reading.problems


def test_wrong_words_flags_choices_and_whole_numbers() -> None:
    reading = Reading('w = "x"\nv = { a = true }\nf = "yes"\nc = "rad"\nn = 3.5\nt = 5\ne = " "')
    root = reading.root
    root.words("w")
    root.words("v")
    root.flag("f")
    root.choice("c", ["red", "blue"])
    root.whole("n", Quantity(0, 5, ""))
    root.text("t")
    root.text("e")
    assert [problem.line for problem in reading.problems] == [1, 2, 3, 4, 5, 6, 7]
    assert "did you mean red?" in said(reading)[3]


def test_the_nearest_word_must_be_near() -> None:
    assert nearest("moistur", ["moisture_wet", "mass_g"]) == "; did you mean moisture_wet?"
    assert nearest("xyz", ["moisture_wet"]) == ""


def test_texts_that_overwhelm_the_parser_are_not_toml() -> None:
    for text in (f"a = {'9' * 5000}", f"a = {'[' * 100_000}"):
        assert "not TOML: " in said(Reading(text))[0]


KEYS = st.sampled_from(
    ["mass_g", "u_mass_g", "moisture_wet", "fuel", "pot", "visit", "water_g", "refuel", "format", "x"]
)
VALUES = st.recursive(
    st.one_of(st.integers(), st.floats(), st.booleans(), st.text(), st.datetimes()),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=10,
)


@seed(20_261_125)
@settings(max_examples=200, deadline=None, database=None)
@given(table=st.dictionaries(KEYS, VALUES, max_size=5))
def test_no_table_gives_more_than_a_plan_error(table: dict[str, object]) -> None:
    with suppress(PlanError):
        parse_plan(as_toml(table))


@seed(20_261_125)
@settings(max_examples=200, deadline=None, database=None)
@given(text=st.text(alphabet="[]{}=\"'.#,\n\r abu_01mass_gfuel\u2028", max_size=60))
def test_no_text_gives_more_than_a_plan_error(text: str) -> None:
    with suppress(PlanError):
        parse_plan(text)


def as_toml(table: dict[str, object]) -> str:
    """Write a table as TOML, all values inline."""
    return "".join(f"{key} = {written(value)}\n" for key, value in table.items())


def written(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {written(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(written(inner) for inner in value) + "]"
    if isinstance(value, str):
        return json.dumps(value)
    return value.isoformat() if isinstance(value, datetime) else str(value)


def test_lists_of_texts_and_of_known_words() -> None:
    reading = Reading('a = ["x", "y z"]\nb = ["on", "off", "on"]\nc = []\n')
    assert reading.root.texts("a") == ["x", "y z"]
    assert reading.root.choices("b", ["on", "off"]) == ["on", "off"]
    assert reading.root.choices("c", ["on"]) == []
    assert reading.root.texts("d") is None
    assert reading.root.choices("d", ["on"]) is None
    assert not reading.problems


def test_lists_that_are_none_are_told() -> None:
    reading = Reading('a = "x"\nb = [1]\nc = ["onn"]\nd = [""]\n')
    assert (reading.root.texts("a"), reading.root.texts("b"), reading.root.texts("d")) == (None, None, None)
    assert reading.root.choices("c", ["on", "off"]) is None
    assert [problem.line for problem in reading.problems] == [1, 2, 3, 4]
    assert "did you mean on?" in reading.problems[2].text
