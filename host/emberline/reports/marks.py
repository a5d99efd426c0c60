"""Where the names of events go above a plot, so that none covers another."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Mark:
    """One moment to be named above a plot.

    Attributes:
        x: Place on the time axis, in any unit of length.
        texts: Names to try, the fullest first.
        rank: Lower ranks are placed first and so keep their fuller names.
    """

    x: float
    texts: tuple[str, ...]
    rank: int


@dataclass(frozen=True, slots=True)
class Flag:
    """A name that found its place.

    Attributes:
        mark: The moment it names.
        text: The name that fitted; empty where none did.
        row: Row of the name, 0 the lowest; -1 without one.
        left: Left end of the name.
        right: Right end of the name.
    """

    mark: Mark
    text: str
    row: int
    left: float
    right: float


@dataclass(frozen=True, slots=True)
class Lane:
    """The room for names above a plot, in the unit of `Mark.x`.

    Attributes:
        low: Left end.
        high: Right end.
        rows: Number of rows of names.
        char_width: Width that one character may take at most.
        gap: Room between a pole and its name, and between names.
    """

    low: float
    high: float
    rows: int
    char_width: float
    gap: float


def place_flags(marks: Sequence[Mark], lane: Lane) -> tuple[Flag, ...]:
    """Give each mark a row and a side for its name, like flags on poles of different height.

    A pole stands at each mark and ends at its flag; no flag covers another flag or another pole. Names are placed one
    by one from the right, for a flag that flies to the right then never meets a pole placed later. How many ranks are
    placed together before the others is tried out; kept is what names the low ranks most fully.

    Returns:
        One flag for each mark, in the order given; a mark without room keeps an empty flag.
    """
    indices = range(len(marks))
    orders = (
        sorted(indices, key=lambda i: (max(marks[i].rank, together), -marks[i].x, marks[i].rank, i))
        for together in sorted({mark.rank for mark in marks})
    )
    return max((_placed_in(order, marks, lane) for order in orders), key=_worth, default=())


def _placed_in(order: Sequence[int], marks: Sequence[Mark], lane: Lane) -> tuple[Flag, ...]:
    placed: dict[int, Flag] = {}
    for index in order:
        mark = marks[index]
        options = (
            _flag(mark, text, row, len(text) * lane.char_width, lane.gap, right=right)
            for text in mark.texts
            for right in (True, False)
            for row in range(lane.rows)
        )
        free = (
            option
            for option in options
            if lane.low <= option.left and option.right <= lane.high and _free(option, placed, lane.gap)
        )
        placed[index] = next(free, Flag(mark, "", -1, mark.x, mark.x))
    return tuple(placed[index] for index in range(len(marks)))


def _worth(flags: tuple[Flag, ...]) -> tuple[int, ...]:
    """Return, rank by rank, how full the placed names are."""
    ranks = sorted({flag.mark.rank for flag in flags})
    return tuple(
        sum(
            len(flag.mark.texts) - flag.mark.texts.index(flag.text)
            for flag in flags
            if flag.text and flag.mark.rank == rank
        )
        for rank in ranks
    )


def _flag(mark: Mark, text: str, row: int, width: float, gap: float, *, right: bool) -> Flag:
    left = mark.x + gap if right else mark.x - gap - width
    return Flag(mark, text, row, left, left + width)


def _free(flag: Flag, placed: dict[int, Flag], gap: float) -> bool:
    for other in placed.values():
        if other.row == flag.row and flag.left < other.right + gap and other.left < flag.right + gap:
            return False
        if other.row >= flag.row and flag.left - 0.5 * gap < other.mark.x < flag.right + 0.5 * gap:
            return False
        if flag.row >= other.row >= 0 and other.left - 0.5 * gap < flag.mark.x < other.right + 0.5 * gap:
            return False
    return True
