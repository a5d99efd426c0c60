"""A recorded burn, read back from anyone's CSV as if it came in now."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, tzinfo
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emberline.bench.channels import Role
from emberline.bench.samples import FLAG_FAULT, SampleBatch
from emberline.links.columns import TIME_KEY, chosen, foreign_unit, guessed, words_of
from emberline.links.errors import RecordingError
from emberline.links.numbers_in_text import NumberColumn, decimal_mark, read_numbers
from emberline.links.table import Table, read_table
from emberline.links.table_order import ordered
from emberline.links.table_time import TimeColumn, read_times

MOST_BYTES = 200_000_000
"""Largest table that is read: a day of ten columns at 20 Hz. As text it takes twenty times its room."""


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """A burn from a file.

    Attributes:
        source: Name of the file.
        batches: One batch for each channel, numbered from 0; values in the unit of the channel's role.
        columns: Name (or number) of the column taken for `t_s` and for each role.
        guessed: Whether the columns were guessed from their names.
        ignored: Columns that were not used.
        rows: Rows of readings in the file.
        set_aside: How many rows or cells were left out, by reason; faults are counted too, and kept as flagged samples.
        remarks: What was assumed or put right, for a person.
        relative: Whether the times have no date, so that they count from the moment given as `origin_ns`.
    """

    source: str
    batches: Mapping[Role, SampleBatch]
    columns: Mapping[str, str]
    guessed: bool
    ignored: tuple[str, ...]
    rows: int
    set_aside: Mapping[str, int]
    remarks: tuple[str, ...]
    relative: bool

    @property
    def start_ns(self) -> int:
        """Time of the first sample, UTC nanoseconds."""
        return min(int(batch.t_ns[0]) for batch in self.batches.values())

    @property
    def end_ns(self) -> int:
        """Time of the last sample, UTC nanoseconds."""
        return max(int(batch.t_ns[-1]) for batch in self.batches.values())


def read_recording(
    path: Path,
    columns: Mapping[str, str] | None = None,
    *,
    origin_ns: int,
    zone: tzinfo = UTC,
    names: Mapping[Role, str] | None = None,
) -> Recording:
    """Read a recorded burn from a text table.

    Separator (comma, semicolon, tab), decimal mark, encoding and form of the times are found out. Rows of text, blank
    cells, repeated headers, damaged times and the like are set aside and counted; nothing else is dropped.

    Args:
        path: The file.
        columns: Name or number of the column for `t_s` and for roles; guessed from the header where None or empty.
        origin_ns: UTC nanoseconds at which the zero of times without a date is put.
        zone: Zone of times that have a date but name no zone.
        names: Channel names by role; by default the role's own.

    Raises:
        RecordingError: The file cannot be read, or holds no burn; the message says what to do.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as exc:
        raise RecordingError(f"cannot read {path}: {exc.strerror or exc}") from exc
    if len(data) > MOST_BYTES:
        raise RecordingError(
            f"{path.name} has more than {MOST_BYTES / 1e6:.0f} MB: cut it into its burns, and import each by itself"
        )
    try:
        wanted = [name for name in (columns or {}).values() if not name.strip().isdigit()]
        table = read_table(data, wanted)
        if not table.rows:
            raise RecordingError("there are no rows of numbers under the header")
        places = chosen(table.header, columns, table.width) if columns else guessed(table.header)
        return _recording(path.name, table, places, not columns, origin_ns, zone, names or {})
    except RecordingError as exc:
        raise RecordingError(f"{path.name}: {exc}") from exc


def _recording(
    source: str,
    table: Table,
    places: Mapping[str, int],
    is_guess: bool,
    origin_ns: int,
    zone: tzinfo,
    names: Mapping[Role, str],
) -> Recording:
    cells = {key: [row[place] for row in table.rows] for key, place in places.items()}
    title = {key: table.header[place] if table.header else str(place + 1) for key, place in places.items()}
    mark = decimal_mark(list(cells.values()))
    time = read_times(cells[TIME_KEY], words_of(title[TIME_KEY]), mark, zone)
    set_aside = Counter(table.set_aside)
    remarks = list(time.remarks)
    if mark == ",":
        remarks.append("numbers are read with decimal commas")
    set_aside["row without a readable time"] = int(np.count_nonzero(~time.good))
    keep, ordering = ordered(time)
    set_aside.update(ordering)
    batches = {}
    empty = np.ones(len(keep), dtype=bool)
    for role in Role:
        if role.value not in places:
            continue
        column = _column(role, title[role.value], cells[role.value], mark, keep, set_aside, remarks)
        empty &= column.blank[keep]
        batch = _batch(f"import:{source}", names.get(role, role.value), time, column, keep, origin_ns)
        if len(batch):
            batches[role] = batch
    # Where channels keep different paces a row holds readings of some, and its blank cells are in order.
    set_aside["row without a reading"] = int(np.count_nonzero(empty))
    if not batches.keys() & {Role.MASS, Role.WATER}:
        raise RecordingError("neither a mass nor a water temperature can be read in any row with a time")
    shared = _shared_times(time.t_ns[keep])
    if shared:
        remarks.append(f"{shared} readings share their time with the one before: the record's clock is coarse")
    used = set(places.values())
    return Recording(
        source,
        batches,
        title,
        is_guess,
        tuple(name for place, name in enumerate(table.header) if place not in used and name),
        len(table.rows),
        {reason: count for reason, count in set_aside.items() if count},
        tuple(remarks),
        not time.absolute,
    )


def _column(
    role: Role,
    title: str,
    cells: list[str],
    mark: str,
    keep: NDArray[np.int64],
    set_aside: Counter[str],
    remarks: list[str],
) -> NumberColumn:
    column = read_numbers(cells, mark)
    blank, fault = np.count_nonzero(column.blank[keep]), np.count_nonzero(column.fault[keep])
    set_aside[f"fault (NaN) in {title}"] = int(fault)
    set_aside[f"cell without a number in {title}"] = int(np.count_nonzero(np.isnan(column.value[keep])) - blank - fault)
    unit = foreign_unit(role, title)
    if unit is None:
        return column
    remarks.append(f"{title} is converted from {unit.name}")
    return replace(column, value=column.value * unit.factor + unit.offset)


def _batch(
    device: str,
    channel: str,
    time: TimeColumn,
    column: NumberColumn,
    keep: NDArray[np.int64],
    origin_ns: int,
) -> SampleBatch:
    """Return the readings of a channel; a fault is one too, flagged and without a value."""
    readable = np.isfinite(column.value[keep])
    rows = keep[readable | column.fault[keep]] if readable.any() else keep[:0]
    t_ns = time.t_ns[rows] + (0 if time.absolute else origin_ns)
    flags = np.where(column.fault[rows], FLAG_FAULT, 0).astype(np.uint8)
    return SampleBatch(device, 0, channel, 0, t_ns, column.value[rows], flags)


def _shared_times(t_ns: NDArray[np.int64]) -> int:
    return int(np.count_nonzero(np.diff(t_ns) == 0))
