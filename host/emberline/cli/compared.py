"""Comparisons in a terminal, or as plain lines where there is none."""

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from emberline.cli.terminal import printing, spaced, table_of
from emberline.heat.result import COVERAGE_95
from emberline.reports.figures import last_place, rounded
from emberline.reports.verdicts import counted, mean_and_interval, trend_words, verdict
from emberline.reports.wording import result_title
from emberline.trials.comparison.comparison import Compared, Comparison
from emberline.trials.comparison.stop_rule import Kept


def show_comparison(comparison: Comparison, wish: float | None, rule: Kept | None) -> None:
    """Print a comparison: warnings first, then each result's groups and what they say, then what does not count.

    Args:
        comparison: The comparison.
        wish: The difference that a person wants to see shown, in the unit of the only result; None for a twentieth.
        rule: Whether a planned series kept its stop rule; None for burns that belong to none.
    """
    with printing() as out:
        for words in comparison.warnings:
            out.print(Text(f"Mind: {spaced(words)}", style="bold yellow"))
        if comparison.warnings:
            out.print()
        if rule is not None:
            out.print(Text(spaced(rule.words), style="bold yellow" if rule.broken else ""))
            out.print()
        for compared in comparison.compared:
            _show(compared, comparison, wish, out)
        for burn in comparison.left_out:
            out.print(Text(f"Left out: trial {burn.trial}: {burn.left_out}"))
        out.print(
            Text(
                "± is half the 95 % interval of a mean by the scatter of its burns; SD is that of single burns.", "dim"
            )
        )


def _show(compared: Compared, comparison: Comparison, wish: float | None, out: Console) -> None:
    out.print(Text(result_title(compared.result), style="bold"))
    table = table_of("group", "burns", "mean", "SD", "CV", "shared inputs")
    for name, figure in compared.groups.items():
        sample = figure.sample
        scale = 100.0 if compared.unit == "" else 1.0
        sd = "–" if sample is None or sample.sd is None else f"{sample.sd * scale:.2g}"
        cv = "–" if sample is None or sample.cv is None else f"{sample.cv * 100.0:.2g} %"
        half = COVERAGE_95 * figure.u_shared * scale
        shared = "–" if not figure.u_shared else f"± {rounded(half, last_place(half))}"
        row = (name, str(len(figure.burns)), spaced(mean_and_interval(compared, name)), sd, cv, shared)
        table.add_row(*map(Text, row))
    out.print(Padding(table, (0, 0, 0, 2)))
    for difference in compared.differences:
        out.print(Padding(Text(spaced(verdict(compared, difference, wish))), (0, 0, 0, 2)))
    if not compared.differences and len(compared.groups) > 1:
        out.print(Padding(Text("Too few burns for a difference: two of each are the least."), (0, 0, 0, 2)))
    for words in (counted(compared), trend_words(compared, ", ".join(comparison.by), comparison.level_unit)):
        if words:
            out.print(Padding(Text(spaced(words)), (0, 0, 0, 2)))
    for figure in compared.groups.values():
        for trial, why in figure.without.items():
            out.print(Padding(Text(f"Trial {trial} has none: {spaced(why)}", style="dim"), (0, 0, 0, 2)))
    out.print()
