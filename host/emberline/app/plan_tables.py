"""Tables of plans: written to be filled in, and read row by row."""

import csv
import io
from collections.abc import Mapping
from pathlib import Path

from emberline.app.output import OutputError, write_new, write_text
from emberline.app.stored import STORE_NAME
from emberline.bench.plan import parse_plan
from emberline.bench.plan_table import PlanRow, plan_table
from emberline.bench.plan_values import text_of
from emberline.config import ConfigError, load_plan, load_plan_table, read_text
from emberline.service.desk import labelled
from emberline.service.series_standing import standing_of
from emberline.store.reader import StoreReader

TABLE_SUFFIX = ".csv"
"""Ending of a plan's file that is a table of plans, a row a burn."""

Rows = list[tuple[Mapping[str, str], str]]


def write_plan_table(target: Path, rows: Rows, *, overwrite: bool = False) -> None:
    """Write a table of plans, as UTF-8 with the mark by which spreadsheets know it.

    Args:
        target: The file.
        rows: What `stored_plans` or `plans_of_series` found; empty for a table to be filled in.
        overwrite: Whether the file may exist.

    Raises:
        OutputError: It exists, or cannot be written.
    """
    if target.suffix.lower() != TABLE_SUFFIX:
        raise OutputError(f"{target}: name a file that ends in {TABLE_SUFFIX}")
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(plan_table(rows, remarks=True))
    (write_text if overwrite else write_new)(target, "\N{ZERO WIDTH NO-BREAK SPACE}" + text.getvalue())


def stored_plans(data: Path) -> Rows:
    """Return the plans of all stored trials.

    Raises:
        StoreError: There is no store, or it cannot be read.
    """
    trials = StoreReader(data / STORE_NAME).trials()
    return [
        ({"trial": one.id, "file": (one.source or "") if one.origin == "import" else ""}, labelled(one))
        for one in trials
    ]


def plans_of_series(data: Path, name: str) -> Rows:
    """Return a plan for each run of a planned series that is not made yet, its factors filled in.

    Raises:
        StoreError: There is no such series, or the store cannot be read.
    """
    standing = standing_of(StoreReader(data / STORE_NAME), name)
    return [
        (
            {},
            text_of(
                {
                    "series": name,
                    "run": run.number,
                    **{f"factors.{factor}": level for factor, level in run.factors.items()},
                }
            ),
        )
        for run in standing.series.runs
        if run.number not in standing.counting
    ]


def plan_to_arm(path: Path, data: Path, *, row: int | None, series: str | None) -> str:
    """Return the text of the plan for the next burn.

    Args:
        path: A plan file, or a table of plans.
        data: Data directory.
        row: Which row of the table, as a spreadsheet counts them.
        series: The planned series whose next run it is; in a table, the row of that run is taken.

    Raises:
        ConfigError: The file has problems, or it does not say which plan is meant.
        StoreError: There is no such series, or the store cannot be read.
    """
    if path.suffix.lower() != TABLE_SUFFIX:
        if row is not None:
            raise ConfigError(path, f"{path} is one plan: --row is for a table of plans, which ends in {TABLE_SUFFIX}")
        load_plan(path)
        return read_text(path, "plan")
    rows = load_plan_table(path)
    if row is not None:
        return _only([one for one in rows if one.row == row], path, f"plan in row {row}", rows)
    if series is None:
        raise ConfigError(path, f"{path} holds {len(rows)} plans: say which with --row, or --series for the next run")
    run = standing_of(StoreReader(data / STORE_NAME), series).next
    if run is None:
        return ""
    plans = {one: parse_plan(one.text) for one in rows}
    wanted = [one for one, plan in plans.items() if (plan.series, plan.run) == (series, run.number)]
    text = _only(wanted, path, f"plan for run {run.number} of {series}", rows)
    for name, level in run.factors.items():
        said = plans[wanted[0]].factors.get(name, level)
        if said != level:
            raise ConfigError(
                path,
                f"{path}: row {wanted[0].row}, column factors.{name}: run {run.number} of {series} is with {level}, not"
                f" {said}: leave the cell empty, or burn in the order that was drawn",
            )
    return text


def _only(found: list[PlanRow], path: Path, what: str, rows: tuple[PlanRow, ...]) -> str:
    if len(found) != 1:
        listed = f"rows {rows[0].row} to {rows[-1].row}"
        raise ConfigError(
            path, f"{path} has {'no' if not found else 'more than one'} {what}: its plans are in {listed}"
        )
    return found[0].text
