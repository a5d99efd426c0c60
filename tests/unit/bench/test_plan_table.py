"""Tables of plans as people fill them in."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emberline.bench.errors import PlanError
from emberline.bench.plan import parse_plan
from emberline.bench.plan_quantities import QUANTITIES
from emberline.bench.plan_table import FLAGS, LISTS, REMARKS, plan_table, read_plan_table
from emberline.bench.plan_values import PlanValue, plan_values, text_of

GERMAN = (
    "file;label;factors.holes;fuel.mass_g;fuel.moisture_wet;fuel.lhv_dry_j_g;fuel.u_mass_g;pot.lid;refuel.1.mass_g\n"
    '# remarks;"what; ever";;;;;;;\n'
    'a.csv;"Buche; ""trocken""";12;310,5;0,11;18.400;0,2;yes;100\n'
    ";;;;;;;;\n"
    "b.csv;;8;;;;;no;\n"
)


def told(text: str) -> list[str]:
    with pytest.raises(PlanError) as caught:
        read_plan_table(text)
    return [str(problem) for problem in caught.value.problems]


def test_a_table_as_a_german_spreadsheet_writes_it() -> None:
    first, second = read_plan_table(GERMAN.replace('\\"', '"'))
    assert (first.row, first.file, second.row, second.file) == (3, "a.csv", 5, "b.csv")
    assert plan_values(first.text) == {
        "label": 'Buche; "trocken"',
        "factors.holes": "12",
        "fuel.mass_g": 310.5,
        "fuel.moisture_wet": 0.11,
        "fuel.lhv_dry_j_g": 18400,
        "fuel.u_mass_g": 0.2,
        "pot.lid": True,
        "refuel": [{"mass_g": 100}],
    }
    assert plan_values(second.text) == {"factors.holes": "8", "pot.lid": False}


def test_all_problems_are_told_at_once_by_row_and_column() -> None:
    assert told(
        "file,fuel.mass_g,fuel.moisture_wet,pot.lid,refuel.2.mass_g,pot.visit.1.water_g,run\n"
        "a.csv,3x,11,maybe,50,,\n"
        "a.csv,0.3,,,,9,2\n"
        "b.csv,300,0.1,yes,,,,,more\n"
    ) == [
        "row 2, column fuel.mass_g: '3x' is no number: write it without its unit",
        "row 2, column pot.lid: 'maybe' says neither yes nor no",
        "row 2: refuel 2 is given, and one before it is not",
        "row 2, column fuel.moisture_wet: moisture_wet = 11 is outside 0 to 0.7: a percentage? write 0.11 for 11 %",
        "row 3, column file: a.csv has row 2 already",
        "row 3, column run: series and run go together: a series, and which run of it",
        "row 3, column fuel.mass_g: mass_g = 0.3 is outside 1 to 20000 g: kilograms? this is in grams",
        "row 3, column pot.visit.1.water_g: water_g = 9 is outside 25 to 50000 g: kilograms? this is in grams",
        "row 4: has more cells than the table has columns: is a cell's comma quoted?",
    ]


def test_problems_of_the_columns_come_first() -> None:
    assert told("file,fuel.mas_g,label,label,fuel.u_lot,u_x,factors.,refuel.0.mass_g\na,1\n") == [
        "column fuel.mas_g: is no key of a plan; did you mean fuel.mass_g?",
        "column label: stands there twice",
        "column fuel.u_lot: is no key of a plan; did you mean fuel.lot?",
        "column u_x: is no key of a plan",
        "column factors.: is no key of a plan; did you mean factors.fuel?",
        "column refuel.0.mass_g: is no key of a plan; did you mean refuel.1.mass_g?",
    ]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "the table is empty"),
        ("file,label\n# only,remarks\n", "there is no row below"),
        ('file,label\na.csv,"lost mark\n', "this is no table"),
        ("file;fuel.lhv_dry_j_g\na.csv;18.400\n", "'18.400' can be 18.4 or 18400: write 18.4000 or 18400"),
    ],
)
def test_what_is_no_table_or_can_be_read_in_two_ways(text: str, why: str) -> None:
    assert why in told(text)[0]


def test_the_empty_table_has_every_usual_key_with_a_remark_and_is_told_to_be_empty() -> None:
    head, remarks = plan_table([], remarks=True)
    assert len(head) == len(remarks)
    assert all(remarks)
    assert {"file", "label", "factors.fuel", "fuel.mass_g", "pot.water_g", "place.altitude_m"} <= set(head)
    assert "no row below" in told(_text([head, remarks]))[0]


def test_every_number_of_a_plan_has_its_column() -> None:
    head, *_ = plan_table([])
    names = {name.rpartition(".")[2] for name in (*head, *REMARKS)} | {key for keys in LISTS.values() for key in keys}
    assert set(QUANTITIES) <= names
    for name, keys in LISTS.items():
        for key in keys:
            read_plan_table(f"{name}.1.{key}\n{0.1 if 'moisture' in key else 50 if key != 'lot' else 'x'}\n")
    for name in REMARKS:
        assert "is no key" not in told(f"{name}\n")[0]


NUMBERS = {"fuel.mass_g": (10, 2000), "fuel.moisture_wet": (0, 0.6), "place.altitude_m": (-100, 4000)}
WORDS = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=8)
PLANS = st.fixed_dictionaries(
    {},
    optional={
        "label": WORDS,
        "factors.fuel": WORDS,
        "fuel.lot": WORDS,
        "pot.lid": st.sampled_from(sorted(set(FLAGS.values()))),
        "refuel": st.lists(
            st.fixed_dictionaries({"mass_g": st.floats(1, 500)}, optional={"lot": WORDS}), min_size=1, max_size=3
        ),
        **{key: st.floats(*ends) for key, ends in NUMBERS.items()},
    },
)


@given(st.lists(PLANS, min_size=1, max_size=4), st.sampled_from(",;\t"))
def test_what_is_written_reads_as_the_same_plans(plans: list[dict[str, PlanValue]], separator: str) -> None:
    texts = [text_of(one) for one in plans]
    rows = list(plan_table([({"file": f"{n}.csv"}, text) for n, text in enumerate(texts)], remarks=True))
    read = read_plan_table(_text(rows, separator))
    assert [plan_values(one.text) for one in read] == [plan_values(text) for text in texts]
    assert [one.file for one in read] == [f"{n}.csv" for n in range(len(texts))]
    assert [parse_plan(one.text).label for one in read] == [parse_plan(text).label for text in texts]


def _text(rows: list[list[str]], separator: str = ",") -> str:
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator="\n").writerows(rows)
    return text.getvalue()
