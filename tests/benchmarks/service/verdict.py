"""What a benchmark of the running service found, and whether its bars hold: in a table, as JSON, in one last line."""

import dataclasses
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.table import Table


@dataclass(frozen=True)
class Bar:
    """One thing that has to hold.

    Attributes:
        name: What it is.
        value: What was found.
        limit: What is allowed, in words.
        holds: Whether it is kept.
        excess: By which share of the limit it is missed, where that can be said.
    """

    name: str
    value: float
    limit: str
    holds: bool
    excess: float | None = None

    @property
    def verdict(self) -> str:
        """Whether it is kept, and by how much it is missed, in words."""
        if self.holds:
            return "holds"
        return "missed" if self.excess is None else f"missed by {100.0 * self.excess:.0f} %"


def at_most(name: str, value: float, limit: float, unit: str = "") -> Bar:
    """Return a bar that a value must not exceed."""
    excess = value / limit - 1.0 if limit else None
    return Bar(name, value, f"at most {limit:g}{unit and ' ' + unit}", value <= limit, excess)


def at_least(name: str, value: float, limit: float, unit: str = "") -> Bar:
    """Return a bar that a value must reach."""
    return Bar(name, value, f"at least {limit:g}{unit and ' ' + unit}", value >= limit, 1.0 - value / limit)


def tell(title: str, figures: Mapping[str, object], bars: Sequence[Bar], json_file: Path | None) -> None:
    """Print figures, bars and the verdict; end with exit code 1 where a bar is missed."""
    console = Console()
    table = Table("figure", "value", title=title)
    for name, value in figures.items():
        table.add_row(
            name,
            f"{value:,.2f}" if isinstance(value, float) else f"{value:,}" if isinstance(value, int) else str(value),
        )
    console.print(table)
    judge(console, title, figures, bars, json_file)


def judge(
    console: Console, title: str, figures: Mapping[str, object], bars: Sequence[Bar], json_file: Path | None
) -> None:
    """Print the bars and the verdict, write the file; end with exit code 1 where a bar is missed."""
    judged = Table("bar", "found", "allowed", "")
    for bar in bars:
        judged.add_row(
            bar.name,
            f"{bar.value:,.2f}".removesuffix(".00"),
            bar.limit,
            bar.verdict if bar.holds else f"[bold red]{bar.verdict}",
        )
    console.print(judged)
    holds = all(bar.holds for bar in bars)
    if json_file is not None:
        document = {"figures": dict(figures), "bars": [dataclasses.asdict(bar) for bar in bars], "holds": holds}
        json_file.write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")
    console.print(f"{title}: {'every bar holds' if holds else 'a bar is missed'}")
    if not holds:
        raise SystemExit(1)
