"""The time column of a recorded table: running seconds, epochs, ISO 8601 or a clock."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from functools import partial

import numpy as np
from numpy.typing import NDArray

from emberline.links.errors import RecordingError
from emberline.links.numbers_in_text import read_numbers

# An epoch is told from running seconds by its size: 2000-01-01 to 2100-01-01, in each of its units.
EPOCH_RANGE_S = (946_684_800.0, 4_102_444_800.0)
EPOCH_UNITS_S = {"seconds": 1.0, "milliseconds": 1e-3, "microseconds": 1e-6, "nanoseconds": 1e-9}
RUNNING_UNITS_S = {
    **dict.fromkeys(("us", "micros", "microseconds"), 1e-6),
    **dict.fromkeys(("ms", "millis", "milliseconds"), 1e-3),
    **dict.fromkeys(("min", "minutes"), 60.0),
    **dict.fromkeys(("h", "hours"), 3600.0),
}
CLOCK = re.compile(r"\s*(\d{1,9}):(\d\d):(\d\d(?:[.,]\d+)?)\s*")
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
LOOKED_AT = 200
DAY_NS = 86_400_000_000_000
LARGEST_NS = 9_000_000_000_000_000_000
MICROSECOND = timedelta(microseconds=1)


@dataclass(frozen=True, slots=True, eq=False)
class TimeColumn:
    """Times of the rows.

    Attributes:
        t_ns: (n,) int64, nanoseconds since 1970 in UTC, or since a zero of the record's own; 0 where not `good`.
        good: (n,) whether the cell held a time.
        absolute: Whether the times have a date.
        remarks: What was assumed, for a person.
    """

    t_ns: NDArray[np.int64]
    good: NDArray[np.bool_]
    absolute: bool
    remarks: tuple[str, ...]


def read_times(cells: Sequence[str], words: frozenset[str], mark: str, zone: tzinfo) -> TimeColumn:
    """Read a column of times.

    Args:
        cells: Text of the cells.
        words: Lower-case words of the column's name; a unit among them (`ms`, `min`) counts.
        mark: Decimal mark of the file.
        zone: Zone of times that have a date but name no zone.

    Raises:
        RecordingError: The column holds no times.
    """
    # A look at some cells tells the form; reading all of them in a wrong form would take long.
    filled = [cell for cell in cells if cell.strip()]
    looked_at = filled[:: max(1, len(filled) // LOOKED_AT)]
    if 2 * np.count_nonzero(np.isfinite(read_numbers(looked_at, mark).value)) >= len(looked_at) > 0:
        value = read_numbers(cells, mark).value
        return _from_numbers(value, np.isfinite(value), words)
    iso: Callable[[str], int | None] = partial(_iso_ns, zone=zone)
    for read, absolute in ((iso, True), (_clock_ns, False)):
        if 2 * sum(read(cell) is not None for cell in looked_at) >= len(looked_at) > 0:
            found = [read(cell) for cell in cells]
            good = np.array([one is not None for one in found], dtype=np.bool_)
            t_ns = np.array([one or 0 for one in found], dtype=np.int64)
            if not absolute:
                t_ns[good] = _over_midnight(t_ns[good])
                remarks: tuple[str, ...] = ("times are read as hours:minutes:seconds of a running clock",)
            elif any(_names_zone(cell) for cell in looked_at):
                remarks = ()
            else:
                remarks = ("times without a zone are read as local time",)
            return TimeColumn(t_ns, good, absolute, remarks)
    example = next((cell.strip() for cell in cells if cell.strip()), "")
    raise RecordingError(
        f"the time column holds no times that can be read, such as {example!r}:"
        " write seconds, an epoch, ISO 8601 (2026-05-01T12:00:00) or h:mm:ss"
    )


def _from_numbers(value: NDArray[np.float64], good: NDArray[np.bool_], words: frozenset[str]) -> TimeColumn:
    middle = float(np.median(value[good]))
    for name, unit_s in EPOCH_UNITS_S.items():
        if EPOCH_RANGE_S[0] <= middle * unit_s <= EPOCH_RANGE_S[1]:
            remarks = () if name == "seconds" else (f"times are read as {name} since 1970",)
            return _scaled(value, good, unit_s, absolute=True, remarks=remarks)
    if abs(middle) >= EPOCH_RANGE_S[0]:
        raise RecordingError(f"times such as {middle:.0f} are neither running seconds nor an epoch after the year 2000")
    unit = next((word for word in RUNNING_UNITS_S if word in words), None)
    if unit is None:
        return _scaled(value, good, 1.0, absolute=False, remarks=())
    remark = f"times are read as running {unit}, after the column's name"
    return _scaled(value, good, RUNNING_UNITS_S[unit], absolute=False, remarks=(remark,))


def _scaled(
    value: NDArray[np.float64], good: NDArray[np.bool_], unit_s: float, *, absolute: bool, remarks: tuple[str, ...]
) -> TimeColumn:
    # Doubles hold an epoch to a quarter of a microsecond; rounding to whole ones gives back what was written.
    step_ns = 1000 if absolute else 1
    steps = value * (1e9 * unit_s / step_ns)
    # Whatever does not fit a nanosecond count is no time of a burn.
    good = good & (np.abs(steps) < LARGEST_NS / step_ns)
    t_ns = np.rint(np.where(good, steps, 0.0)).astype(np.int64) * step_ns
    return TimeColumn(t_ns, good, absolute, remarks)


def _iso_ns(cell: str, zone: tzinfo) -> int | None:
    try:
        moment = datetime.fromisoformat(cell.strip())
    except ValueError:
        return None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
    try:
        return _fitting((moment - EPOCH) // MICROSECOND * 1000)
    except OverflowError:
        return None


def _fitting(t_ns: int) -> int | None:
    """Return a time, or None for one that no nanosecond count of 64 bits holds, which is none of a burn."""
    return t_ns if abs(t_ns) < LARGEST_NS else None


def _names_zone(cell: str) -> bool:
    try:
        return datetime.fromisoformat(cell.strip()).tzinfo is not None
    except ValueError:
        return False


def _clock_ns(cell: str) -> int | None:
    match = CLOCK.fullmatch(cell)
    if match is None:
        return None
    hours, minutes, seconds = match.groups()
    whole_ns = (3600 * int(hours) + 60 * int(minutes)) * 1_000_000_000
    return _fitting(whole_ns + round(float(seconds.replace(",", ".")) * 1e9))


def _over_midnight(t_ns: NDArray[np.int64]) -> NDArray[np.int64]:
    """Let a clock of the day run on where it starts again at midnight."""
    if not len(t_ns):
        return t_ns
    falls = np.diff(t_ns, prepend=t_ns[0]) < -DAY_NS // 2
    return t_ns + np.cumsum(falls) * DAY_NS
