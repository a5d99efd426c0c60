"""A series of burns as it was planned: its order, what it is judged by, and when it ends."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.run_order import Run
from emberline.trials.comparison.stop_rule import StopRule

NAME = re.compile(r"[A-Za-z0-9_-]{1,60}")


@dataclass(frozen=True, slots=True)
class Series:
    """A planned series.

    Attributes:
        name: Letters, digits, `-` and `_`; the plans of its trials carry it.
        result: The result that decides.
        rule: When it ends.
        seed: Seed with which its order was drawn.
        runs: Its burns in their order.
    """

    name: str
    result: str
    rule: StopRule
    seed: int
    runs: tuple[Run, ...]

    def __post_init__(self) -> None:
        """Check the name.

        Raises:
            ComparisonError: It has other signs, or too many.
        """
        if not NAME.fullmatch(self.name):
            raise ComparisonError(f"{self.name!r} is no name for a series: letters, digits, - and _, at most 60")

    @property
    def factors(self) -> tuple[str, ...]:
        """Names of the factors that it varies."""
        return tuple(self.runs[0].factors)


def next_run(series: Series, burnt: Sequence[int]) -> Run | None:
    """Return the first run that no trial that counts has taken yet; None where all are taken.

    A burn that failed and was excluded is made again, at the first opportunity.
    """
    return next((run for run in series.runs if run.number not in burnt), None)


def series_document(series: Series) -> dict[str, Any]:
    """Return a series as plain JSON values."""
    return {
        "name": series.name,
        "result": series.result,
        "rule": asdict(series.rule),
        "seed": series.seed,
        "runs": [{"block": run.block, "factors": dict(run.factors)} for run in series.runs],
    }


def series_of(document: Mapping[str, Any]) -> Series:
    """Return the series of a document.

    Raises:
        ComparisonError: The document is not one of a series.
    """
    try:
        runs = tuple(Run(one["block"], number, one["factors"]) for number, one in enumerate(document["runs"], 1))
        return Series(document["name"], document["result"], StopRule(**document["rule"]), document["seed"], runs)
    except (KeyError, TypeError) as error:
        raise ComparisonError(f"this is no document of a series: {error}") from error
