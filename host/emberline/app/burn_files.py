"""Which recordings a person means, and which plan goes with each: one beside it by name, or a row of a table."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from emberline.app.importing import is_pack
from emberline.app.plan_tables import TABLE_SUFFIX
from emberline.bench.plan_table import PlanRow
from emberline.config import ConfigError, load_plan, load_plan_table, read_text

RECORDINGS = (".csv", ".tsv", ".txt", ".zip")
"""Endings of the files in a folder that are taken for recordings."""
TABLE_BESIDE = "plans.csv"
"""A table of plans of this name belongs to the recordings beside it."""


@dataclass(frozen=True, slots=True)
class BurnFile:
    """A recording and what is known of its burn.

    Attributes:
        source: The recording.
        plan_text: Its plan as TOML; empty without one.
        problem: Why it cannot be imported; None where it can.
    """

    source: Path
    plan_text: str = ""
    problem: Exception | None = None


def burn_files(named: Sequence[Path], plan: Path | None = None) -> list[BurnFile]:
    """Return the recordings that a person named, those of a folder by name.

    Without `plan`, the plan of `burn.csv` is `burn.toml` beside it, or the row of `plans.csv` beside it whose `file` it
    is.

    Args:
        named: Files and folders.
        plan: A plan for all of them, or a table with a row for each.

    Raises:
        ConfigError: A table of plans or the plan has problems, a folder cannot be read or holds no recording.
    """
    sources = list(
        dict.fromkeys(one for name in named for one in (_in_folder(name, plan) if name.is_dir() else [name]))
    )
    if plan is not None and plan.suffix.lower() != TABLE_SUFFIX:
        load_plan(plan)
        text = read_text(plan, "plan")
        return [BurnFile(one, "" if is_pack(one) and len(sources) > 1 else text) for one in sources]
    tables: dict[Path, tuple[PlanRow, ...]] = {}
    found = []
    for source in sources:
        table = source.with_name(TABLE_BESIDE) if plan is None else plan
        if table not in tables:
            tables[table] = load_plan_table(table) if plan is not None or table.is_file() else ()
        row = next((one for one in tables[table] if Path(one.file).name == source.name), None)
        try:
            text = _plan_text(source, table, row)
            if plan is not None and not text and sources == list(named) and not is_pack(source):
                # In a folder there may be others; who names a recording and a table means its row.
                raise ConfigError(table, f"{table} has no row for {source.name}: write that name under file")
            found.append(BurnFile(source, text))
        except ConfigError as exc:
            found.append(BurnFile(source, problem=exc))
    return found + _without_recording(tables, [one for one in named if one.is_dir()], {one.name for one in sources})


def _in_folder(folder: Path, plan: Path | None) -> list[Path]:
    try:
        files = sorted(one for one in folder.iterdir() if one.suffix.lower() in RECORDINGS and one.is_file())
    except OSError as exc:
        raise ConfigError(folder, f"{folder}: cannot be read: {exc.strerror or exc}") from exc
    found = [
        one
        for one in files
        if one.name != TABLE_BESIDE and (plan is None or not plan.exists() or not one.samefile(plan))
    ]
    if not found:
        raise ConfigError(folder, f"{folder} holds no recording: its files end in none of {', '.join(RECORDINGS)}")
    return found


def _plan_text(source: Path, table: Path, row: PlanRow | None) -> str:
    own = source.with_suffix(".toml")
    if is_pack(source) or not own.is_file():
        return "" if row is None else row.text
    if row is not None:
        raise ConfigError(
            own, f"{source} has a plan in {own.name} and one in row {row.row} of {table}: keep one of them"
        )
    load_plan(own)
    return read_text(own, "plan")


def _without_recording(
    tables: dict[Path, tuple[PlanRow, ...]], folders: Iterable[Path], sources: set[str]
) -> list[BurnFile]:
    """Return the rows that name a recording which no folder holds; a person who named files knows what is left out."""
    where = " or ".join(map(str, folders))
    if not where:
        return []
    return [
        BurnFile(
            Path(row.file),
            problem=ConfigError(
                table, f"{table}: row {row.row}, column file: there is no {row.file} in {where}: check its name"
            ),
        )
        for table, rows in tables.items()
        for row in rows
        if row.file and Path(row.file).name not in sources
    ]
