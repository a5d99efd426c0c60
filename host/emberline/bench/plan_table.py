"""Plans in bulk: a table with a row a burn, as a spreadsheet makes it, its columns named by the plan's keys.

The columns `file` (name of the recording) and `trial` (id of a stored one) say whose row it is. All others are keys
such as `fuel.mass_g`, `u_` keys such as `fuel.u_mass_g`, factors such as `factors.holes`, and lists such as
`refuel.1.mass_g`, counted from 1. An empty cell says nothing. A row whose first cell begins with `#` is a remark.
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from emberline.bench.errors import PlanError, Problem
from emberline.bench.plan_fields import FIELDS
from emberline.bench.plan_quantities import QUANTITIES
from emberline.bench.plan_values import PlanValue, plan_values, text_of, unchecked_text
from emberline.bench.table_numbers import NoNumberError, decimal_marks, number_in
from emberline.bench.toml_reading import nearest

WHOSE = ("file", "trial")
"""Columns that are no keys of the plan."""
MOST_ROWS, MOST_CELLS = 5_000, 500
FLAGS = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}
LISTS: Mapping[str, tuple[str, ...]] = {
    "refuel": ("mass_g", "moisture_wet", "moisture_dry", "lot"),
    "pot.visit": ("water_g", "final_water_g", "final_water_delay_s"),
}
"""Keys of the lists of tables."""
REMARKS: Mapping[str, str] = {
    "file": "name of the recording, beside this table",
    "factors.fuel": "a condition that is varied on purpose: name such columns as you like",
    "series": "a planned series (emberline order)",
    "run": "its number in the order of that series",
    "fuel.kindling_moisture_dry": "over dry mass; one of the two",
    "load_cell.zero_drift_g": "g: what the empty load cell showed after the burn, less before",
    "load_cell.zero_drift_s": "s: the time between",
}
"""What stands beneath the columns that a form has no field for."""
_LISTED = re.compile(r"(refuel|pot\.visit)\.([1-9]\d?)\.(\w+)")


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One burn's plan.

    Attributes:
        row: Number of the row, as a spreadsheet counts them.
        file: Name of its recording; empty without one.
        text: The plan, as TOML.
    """

    row: int
    file: str
    text: str


def read_plan_table(text: str) -> tuple[PlanRow, ...]:
    """Read a table of plans; cells are parted by commas, semicolons or tabs, decimals have points or commas.

    Raises:
        PlanError: The table or plans in it have problems, all of them named by row and column.
    """
    head, rows, separator = _split(text)
    problems = _head_problems(head)
    if problems:
        raise PlanError(problems)
    marks = decimal_marks(
        (cell for _, cells in rows for key, cell in zip(head, cells, strict=False) if _is_number(key)), separator
    )
    found: list[PlanRow] = []
    wrong: list[Problem] = []
    files: dict[str, int] = {}
    for number, cells in rows:
        if len(cells) > len(head) and any(cell.strip() for cell in cells[len(head) :]):
            wrong.append(Problem(f"row {number}: has more cells than the table has columns: is a cell's comma quoted?"))
            continue
        given = {key: cell.strip() for key, cell in zip(head, cells, strict=False) if cell.strip()}
        file = given.get("file", "")
        if file and file in files:
            wrong.append(Problem(f"row {number}, column file: {file} has row {files[file]} already"))
        files.setdefault(file, number)
        values, told = _values(number, given, marks)
        wrong += told
        try:
            found.append(PlanRow(number, file, text_of(values)))
        except PlanError as exc:
            wrong += _by_column(number, values, exc)
    if not rows:
        wrong.append(Problem("there is no row below the names of the columns: write a row for each burn"))
    if wrong:
        raise PlanError(tuple(wrong))
    return tuple(found)


def plan_table(rows: Iterable[tuple[Mapping[str, str], str]], *, remarks: bool = False) -> Iterator[list[str]]:
    """Yield the cells of a table of plans: its head, and a row for each plan.

    It has the usual columns, filled or not, and those that the plans need besides; read again, it gives the same plans.

    Args:
        rows: For each row the cells of `WHOSE`, and the plan's text.
        remarks: Whether a row of remarks says what each column means.

    Raises:
        PlanError: A text is no plan.
    """
    filled = [(whose, dict(_flat(plan_values(text)))) for whose, text in rows]
    usual = [*(one for one in WHOSE if any(one in whose for whose, _ in filled)), *(field.key for field in FIELDS)]
    usual = usual if "file" in usual else ["file", *usual]
    extra = dict.fromkeys(key for _, values in filled for key in values if key not in usual)
    if not any(key.startswith("factors.") for key in extra):
        extra["factors.fuel"] = None
    head = [*usual, *extra]
    yield head
    if remarks:
        yield [f"# {_remark(head[0])}", *map(_remark, head[1:])]
    for whose, values in filled:
        yield [whose.get(key, "") or _cell(values.get(key)) for key in head]


def _split(text: str) -> tuple[list[str], list[tuple[int, list[str]]], str]:
    """Return the columns' names, the rows with their numbers, and what parts the cells."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    separator = next((one for one in "\t;," if one in first), ",")
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error as exc:
        raise PlanError(
            (Problem(f"this is no table: {exc}; a quotation mark within a cell is written twice"),)
        ) from exc
    numbered = [(at, cells) for at, cells in enumerate(lines, 1) if any(cell.strip() for cell in cells)]
    if not numbered:
        raise PlanError((Problem("the table is empty: `emberline plans --to FILE` writes one to be filled in"),))
    if len(numbered) > MOST_ROWS or max(len(cells) for _, cells in numbered) > MOST_CELLS:
        raise PlanError((Problem(f"a table of plans has at most {MOST_ROWS} rows and {MOST_CELLS} columns"),))
    head = [name.strip() for name in numbered[0][1]]
    while head and not head[-1]:
        head.pop()
    return head, [one for one in numbered[1:] if not one[1][0].lstrip().startswith("#")], separator


def _head_problems(head: Sequence[str]) -> tuple[Problem, ...]:
    problems = []
    for at, name in enumerate(head):
        if name in head[:at]:
            problems.append(Problem(f"column {name}: stands there twice"))
        elif not _is_known(name):
            hint = nearest(name, _known_names())
            problems.append(Problem(f"column {name or at + 1}: is no key of a plan{hint}"))
    return tuple(problems)


def _known_names() -> list[str]:
    listed = (f"{name}.1.{key}" for name, keys in LISTS.items() for key in keys)
    return [*WHOSE, *(field.key for field in FIELDS), *REMARKS, *listed]


def _is_known(name: str) -> bool:
    if listed := _LISTED.fullmatch(name):
        return listed[3].removeprefix("u_") in LISTS[listed[1]]
    table, dot, key = name.rpartition(".")
    if table == "factors" or name.startswith("factors."):
        return bool(name.removeprefix("factors.").strip())
    measured = f"{table}{dot}{key.removeprefix('u_')}"
    return name in _known_names() or (key.startswith("u_") and measured in _known_names() and _is_number(measured))


def _is_number(name: str) -> bool:
    key = name.rpartition(".")[2]
    return (
        name not in WHOSE and not name.startswith("factors.") and (key.removeprefix("u_") in QUANTITIES or key == "run")
    )


def _values(row: int, given: Mapping[str, str], marks: frozenset[str]) -> tuple[dict[str, PlanValue], list[Problem]]:
    values: dict[str, PlanValue] = {}
    lists: dict[str, dict[int, dict[str, str | int | float | bool]]] = {}
    problems = []
    for name, cell in given.items():
        if name in WHOSE:
            continue
        value: str | int | float | bool = cell
        if _is_number(name):
            try:
                value = number_in(cell, marks)
            except NoNumberError as exc:
                problems.append(Problem(f"row {row}, column {name}: {exc}"))
                continue
        elif name == "pot.lid":
            if cell.lower() not in FLAGS:
                problems.append(Problem(f"row {row}, column {name}: {cell!r} says neither yes nor no"))
                continue
            value = FLAGS[cell.lower()]
        if listed := _LISTED.fullmatch(name):
            lists.setdefault(listed[1], {}).setdefault(int(listed[2]), {})[listed[3]] = value
        else:
            values[name] = value
    for name, parts in lists.items():
        if sorted(parts) != list(range(1, len(parts) + 1)):
            problems.append(Problem(f"row {row}: {name} {max(parts)} is given, and one before it is not"))
        values[name] = [parts[at] for at in sorted(parts)]
    return values, problems


def _by_column(row: int, values: Mapping[str, PlanValue], error: PlanError) -> list[Problem]:
    """Return the problems of a row's plan beside the columns that they are about."""
    columns = _columns_by_line(unchecked_text(values))
    told = []
    for problem in error.problems:
        column = columns.get(problem.line or 0)
        told.append(Problem(f"row {row}{f', column {column}' if column else ''}: {problem.text}"))
    return told


def _columns_by_line(text: str) -> dict[int, str]:
    """Return which column each line of a plan's text comes from."""
    columns: dict[int, str] = {}
    counts: dict[str, int] = {}
    prefix = ""
    for number, line in enumerate(text.split("\n"), 1):
        if line.startswith("[["):
            name = line.strip("[]")
            counts[name] = counts.get(name, 0) + 1
            prefix = f"{name}.{counts[name]}."
        elif line.startswith("["):
            prefix = f"{line.strip('[]')}."
        elif " = " in line:
            columns[number] = prefix + line.partition(" = ")[0].strip('"')
    return columns


def _flat(values: Mapping[str, PlanValue]) -> Iterator[tuple[str, str | int | float | bool]]:
    for key, value in values.items():
        if key == "format":
            continue
        if isinstance(value, list):
            for at, part in enumerate(value, 1):
                yield from ((f"{key}.{at}.{name}", one) for name, one in part.items())
        else:
            yield key, value


def _cell(value: str | int | float | bool | None) -> str:
    if value is None:
        return ""
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)


def _remark(key: str) -> str:
    field = next((one for one in FIELDS if one.key == key), None)
    if field is None:
        return REMARKS.get(key, "")
    said = [field.title, field.hint, field.unit, " or ".join(field.choices) if field.name != "lid" else "yes or no"]
    return ", ".join(one for one in said if one)
