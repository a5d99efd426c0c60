"""When a series ends: said before its first burn, so that nobody burns on until a difference shows by chance."""

from collections.abc import Sequence
from dataclasses import dataclass

from emberline.trials.comparison.errors import ComparisonError

LEAST_BURNS = 2


@dataclass(frozen=True, slots=True)
class StopRule:
    """A series ends after a number of burns of each condition, or when an interval is narrow enough.

    Attributes:
        burns: Burns of each condition; None where the interval decides.
        half_width: Half the width that the interval of the difference is to have at most, in the result's unit; looked
            at only when all conditions have the same number of burns. Its width says nothing of whether a difference
            is shown, so stopping by it leaves the interval's coverage nearly as it is.
        most_burns: Burns of each condition after which the series ends even so; None for no limit.
    """

    burns: int | None = None
    half_width: float | None = None
    most_burns: int | None = None

    def __post_init__(self) -> None:
        """Check it.

        Raises:
            ComparisonError: It names neither end or both, or one that no series can have.
        """
        if (self.burns is None) == (self.half_width is None):
            raise ComparisonError("a series ends either after a number of burns or at an interval's width: name one")
        if self.burns is not None and self.burns < LEAST_BURNS:
            raise ComparisonError(f"a comparison takes {LEAST_BURNS} burns of each condition at the least")
        if self.half_width is not None and not self.half_width > 0.0:
            raise ComparisonError("an interval's half width is above zero")
        if self.most_burns is not None and (self.half_width is None or self.most_burns < LEAST_BURNS):
            raise ComparisonError("the most burns go with an interval's width, and are at least two")


@dataclass(frozen=True, slots=True)
class Kept:
    """Whether a rule was kept.

    Attributes:
        ended: Whether the series may end by its rule.
        broken: Whether it went past its end.
        words: Both in a sentence.
    """

    ended: bool
    broken: bool
    words: str


def kept(rule: StopRule, counts: Sequence[int], half_widths: Sequence[float | None]) -> Kept:
    """Return how a series stands to its rule.

    Args:
        rule: The rule.
        counts: Burns of each condition that count.
        half_widths: Half the interval's width after each round in which all conditions had the same number of burns,
            from the first round on; None where there was none yet. Only a rule of widths needs them.
    """
    fewest, most = min(counts, default=0), max(counts, default=0)
    if rule.burns is not None:
        return _counted(rule.burns, fewest, most)
    assert rule.half_width is not None
    limit = rule.most_burns
    met = next((n for n, half in enumerate(half_widths, 1) if half is not None and half <= rule.half_width), None)
    end = min((n for n in (met, limit) if n is not None), default=None)
    if end is None or fewest < end:
        newest = next((half for half in reversed(half_widths) if half is not None), None)
        stands = "" if newest is None else f"; it is ± {newest:.3g} now"
        return Kept(False, False, f"Stop rule: burn until the interval is ± {rule.half_width:.3g} at most{stands}.")
    why = f"the interval was ± {rule.half_width:.3g} at most" if end == met else f"{limit} burns of each were made"
    if most > end:
        return Kept(True, True, f"Stop rule not kept: {why} after {end} burns of each, and {most} were made.")
    return Kept(True, False, f"Stop rule kept: {why} after {end} burns of each.")


def _counted(burns: int, fewest: int, most: int) -> Kept:
    if most > burns:
        return Kept(True, True, f"Stop rule not kept: {burns} burns of each were planned, and up to {most} were made.")
    if fewest < burns:
        return Kept(
            False, False, f"Stop rule: {burns} burns of each; there are {fewest}, so this is a look at an open series."
        )
    return Kept(True, False, f"Stop rule kept: {burns} burns of each, as planned.")
