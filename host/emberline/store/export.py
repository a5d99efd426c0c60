"""Files for other programs: one row a second, or every sample."""

import csv
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

import numpy as np
from numpy.typing import NDArray

from emberline.bench.channels import UNITS, Channel, Role
from emberline.bench.samples import SampleBatch
from emberline.store.curves import calibrated
from emberline.store.errors import ExportError

if TYPE_CHECKING:
    from emberline.trials.analysis import Analysis

Columns = Mapping[str, NDArray[np.float64] | Sequence[str]]

SUFFIXES = (".csv", ".parquet", ".zip")


def column_name(role: Role) -> str:
    """Return the name of a channel's column: role and unit, as in `water_c`."""
    return f"{role.value}_{UNITS[role]}"


def by_second(analysis: "Analysis") -> Columns:
    """Return a trial on its 1 Hz grid: the channels, and what the ledger makes of them.

    The columns are `t_s`, each channel by role and unit, `fuel_g`, `water_g`, `burning_rate_g_min`,
    `u_burning_rate_g_min`, `firepower_w`, `phase` and `event`, the kinds of the events in that second; NaN where a
    value is not known.
    """
    account, grid = analysis.account, analysis.grid
    events = [""] * len(account.t_s)
    for event in analysis.events:
        if 0.0 <= event.t_s < len(events):
            events[int(event.t_s)] += f"{' ' * bool(events[int(event.t_s)])}{event.kind.value}"
    channels = {column_name(role): grid.columns[role].value for role in Role if role in grid.columns}
    return {
        "t_s": account.t_s,
        **channels,
        "fuel_g": account.fuel_g,
        "water_g": account.water_g,
        "burning_rate_g_min": account.burning_rate_g_min,
        "u_burning_rate_g_min": account.u_burning_rate_g_min,
        "firepower_w": analysis.results.firepower_w,
        "phase": [phase.value for phase in account.phase],
        "event": events,
    }


def every_sample(batches: Iterable[SampleBatch], channels: Mapping[Role, Channel], start_ns: int) -> Columns:
    """Return all samples of a trial at the union of their times, calibrated; an import of it gives the same trial.

    A channel that has no sample at a time has None there, and NaN where the converter reported a fault. Samples of one
    channel that share a time lie in rows of the same time.

    Args:
        batches: Samples of the trial.
        channels: The channels by role.
        start_ns: UTC nanoseconds of `t_s = 0`.
    """
    found = calibrated(batches, channels)
    times = {role: found[role][0] - start_ns for role in Role if role in found}
    nth = {role: np.arange(len(t)) - np.searchsorted(t, t, side="left") for role, t in times.items()}
    most = 1 + max((int(one.max()) for one in nth.values() if len(one)), default=0)
    # One number names a row: its time, and the how-manieth of that time it is.
    keys = {role: times[role] * most + nth[role] for role in times}
    rows = np.unique(np.concatenate(list(keys.values()))) if keys else np.array([], dtype=np.int64)
    columns: dict[str, Any] = {"t_s": (rows // most) / 1e9}
    for role, key in keys.items():
        cells = np.full(len(rows), None, dtype=object)
        cells[np.searchsorted(rows, key)] = found[role][1]
        columns[column_name(role)] = cells
    return columns


def require_writable(target: Path, *, overwrite: bool) -> None:
    """Check a file's name before the work begins.

    Raises:
        ExportError: The name has no known ending, the file exists, or its folder does not.
    """
    if target.suffix.lower() not in SUFFIXES:
        raise ExportError(f"{target}: name a file that ends in {', '.join(SUFFIXES)}")
    if target.suffix.lower() == ".parquet":
        _parquet()
    if target.exists() and not overwrite:
        raise ExportError(f"{target} exists: name another file, or add --overwrite")
    if not target.absolute().parent.is_dir():
        raise ExportError(f"{target}: there is no folder {target.absolute().parent}: make it first")


def write(columns: Columns, target: Path) -> None:
    """Write columns as CSV or Parquet, by the file's ending; the file appears when it is whole.

    Raises:
        ExportError: It cannot be written, or the Parquet library is missing.
    """
    unfinished = target.with_name(target.name + ".unfinished")
    write_file: Callable[[Columns, Path], None] = _write_parquet if target.suffix.lower() == ".parquet" else _write_csv
    try:
        write_file(columns, unfinished)
        unfinished.replace(target)
    except OSError as exc:
        raise ExportError(f"cannot write {target}: {exc.strerror or exc}") from exc
    finally:
        unfinished.unlink(missing_ok=True)


def _write_csv(columns: Columns, path: Path) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        write_rows(columns, file)


def write_rows(columns: Columns, file: TextIO) -> None:
    """Write columns as CSV into an open file."""
    exact = any(map(_has_none, columns.values()))
    texts = [_texts(column, exact=exact) for column in columns.values()]
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(zip(*texts, strict=True))


def _has_none(column: NDArray[Any] | Sequence[str]) -> bool:
    return isinstance(column, np.ndarray) and column.dtype.kind == "O"


def _texts(column: NDArray[Any] | Sequence[str], *, exact: bool) -> list[str]:
    """Return the cells of a column.

    Samples are written exactly, in the shortest form that reads back the same; None says that there is no sample and
    NaN that it was a fault. On the grid nine digits are plenty, and NaN is simply not known.
    """
    values = column.tolist() if isinstance(column, np.ndarray) else column
    return [value if isinstance(value, str) else _text(value, exact=exact) for value in values]


def _text(value: float | None, *, exact: bool) -> str:
    if value is None:
        return ""
    if value != value:
        return "NaN" if exact else ""
    if value == int(value) and abs(value) < 1e15:
        return str(int(value))
    return repr(value) if exact else f"{value:.9g}"


def _write_parquet(columns: Columns, path: Path) -> None:
    arrow, parquet = _parquet()
    arrays = {
        name: arrow.array(list(column) if _has_none(column) else column, from_pandas=not _has_none(column))
        for name, column in columns.items()
    }
    parquet.write_table(arrow.table(arrays), path, compression="zstd")


def _parquet() -> tuple[Any, Any]:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as exc:
        raise ExportError(
            "writing Parquet needs the extra parquet: pip install 'emberline[parquet]', or export to a .csv file"
        ) from exc
    return pa, pq
