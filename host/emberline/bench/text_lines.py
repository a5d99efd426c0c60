"""Where a bench's values stand in the lines of text that a sketch of one's own prints."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from emberline.bench.channels import Channel
from emberline.bench.toml_reading import Quantity, Section

MOST_COLUMNS = 64
"""More values than anybody prints in a line."""
_COLUMN = re.compile(r"[0-9]{1,4}")


class TimeUnit(StrEnum):
    """What a line's own time counts; the first two are counters of 32 bits, which begin anew at zero."""

    MILLISECONDS = "ms"
    MICROSECONDS = "us"
    SECONDS = "s"


@dataclass(frozen=True, slots=True)
class TextLines:
    """What stands where in a line: values in columns, or each behind its label.

    Attributes:
        sources: For each channel the number of its column, from 1, or its label.
        columns: How many values a whole line has; None where they have labels.
        time: Column or label of the device's own time; None where lines have none.
        time_unit: What that time counts.
    """

    sources: tuple[str, ...]
    columns: int | None = None
    time: str | None = None
    time_unit: TimeUnit = TimeUnit.MILLISECONDS


def read_text_lines(section: Section, channels: Sequence[Channel]) -> TextLines:
    """Read the table `[serial.lines]` of a bench file; what does not fit together is noted in the section.

    Args:
        section: The table.
        channels: The bench's channels: the `source` of each, or else its name, is its column or label.
    """
    time, word = section.text("time"), section.choice("time_unit", list(TimeUnit))
    columns = section.whole("columns", Quantity(1, MOST_COLUMNS, ""))
    section.close()
    sources = tuple(channel.source or channel.name for channel in channels)
    named = sources if time is None else (*sources, time)
    numbers = [int(name) for name in named if _COLUMN.fullmatch(name)]
    if time is None and word is not None:
        section.complain("time_unit", "time_unit belongs to time: name the column or label of the device's own time")
    if len(set(named)) < len(named):
        section.complain("time", "two of the channels and the time have the same source: each has a place of its own")
    if numbers and len(numbers) < len(named):
        others = ", ".join(name for name in named if not _COLUMN.fullmatch(name))
        section.complain(
            "time",
            f"columns have numbers or labels, not both: give {others} the number of its column, from 1, as its source",
        )
    elif columns is not None and not numbers:
        section.complain("columns", "values with labels have no columns: leave columns out, or use numbers as sources")
    elif numbers and not 1 <= min(numbers) <= max(numbers) <= (columns or MOST_COLUMNS):
        section.complain("columns", f"a source is no column: columns are numbered from 1 to {columns or MOST_COLUMNS}")
    unit = TimeUnit.MILLISECONDS if word is None else TimeUnit(word)
    return TextLines(sources, (columns or max(numbers)) if numbers else None, time, unit)
