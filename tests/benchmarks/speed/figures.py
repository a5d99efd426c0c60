"""A figure beside its baseline, which anyone would write first, and its limit, below which nothing can be."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass

from rich.table import Table


@dataclass(frozen=True)
class Other:
    """What a figure is compared with.

    Attributes:
        what: What it is.
        value: Its value, in the figure's unit, from the same run.
    """

    what: str
    value: float


@dataclass(frozen=True)
class Figure:
    """Something measured.

    Attributes:
        name: What it is.
        value: What was found.
        unit: Its unit.
        baseline: What one would get with the plain way; None where there is no plain way.
        limit: What no way could be better than; None where nothing sets one.
    """

    name: str
    value: float
    unit: str
    baseline: Other | None = None
    limit: Other | None = None

    @property
    def by_baseline(self) -> float:
        """The figure over its baseline."""
        assert self.baseline is not None
        return self.value / self.baseline.value

    @property
    def by_limit(self) -> float:
        """The figure over its limit."""
        assert self.limit is not None
        return self.value / self.limit.value

    def as_dict(self) -> dict[str, object]:
        """Return it for JSON."""
        return asdict(self)


def table(title: str, figures: Sequence[Figure]) -> Table:
    """Return the figures as a table."""
    shown = Table("figure", "found", "baseline", "limit", title=title, show_lines=True)
    for figure in figures:
        shown.add_row(
            figure.name,
            f"{_number(figure.value)} {figure.unit}",
            _beside(figure, figure.baseline),
            _beside(figure, figure.limit),
        )
    return shown


def _beside(figure: Figure, other: Other | None) -> str:
    if other is None:
        return "-"
    return f"{_number(other.value)}, {other.what}\nfound / this: {_number(figure.value / other.value)}"


def _number(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 1000.0 else f"{value:.3g}"
