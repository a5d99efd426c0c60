"""A planned series in a terminal: its rule, its order, what is burnt of it."""

import shlex
from pathlib import Path

from rich.text import Text

from emberline.cli.terminal import printing, table_of
from emberline.reports.caution import CAUTION_LINE
from emberline.reports.wording import in_sentence
from emberline.service.series_standing import Standing
from emberline.trials.comparison.stop_rule import StopRule


def show_series(standing: Standing, data: Path | None = None) -> None:
    """Print a series: when it ends, its runs in their order with the trials that took them, and what comes next.

    Args:
        standing: The series.
        data: The data directory that a person named, so that the next command names it too.
    """
    series = standing.series
    there = f"--series {series.name}" if data is None else f"--series {series.name} --data {shlex.quote(str(data))}"
    with printing() as out:
        out.print(Text(f"Series {series.name}", style="bold"))
        out.print(
            Text(f"{_rule(series.rule)} Decided by {in_sentence(series.result)}. Order drawn with seed {series.seed}.")
        )
        out.print()
        table = table_of("run", "block", *series.factors, "trial")
        for run in series.runs:
            trials = ", ".join(trial.id for trial in standing.burnt.get(run.number, ()))
            again = " (excluded: once more)" if trials and run.number not in standing.counting else ""
            levels = [run.factors[name] for name in series.factors]
            table.add_row(*map(Text, (str(run.number), str(run.block), *levels, trials + again)))
        out.print(table)
        out.print()
        following = standing.next
        if following is None:
            out.print(Text(f"All runs are made: emberline compare {there}"), soft_wrap=True)
        else:
            told = ", ".join(f"{name} {level}" for name, level in following.factors.items())
            out.print(Text(f"Next: run {following.number}, {told}: emberline arm {there}"), soft_wrap=True)
            out.print(Text(CAUTION_LINE, style="bold yellow"))


def _rule(rule: StopRule) -> str:
    if rule.burns is not None:
        return f"It ends after {rule.burns} burns of each condition."
    most = "" if rule.most_burns is None else f", or after {rule.most_burns} burns of each condition"
    return f"It ends when the interval of the difference is ± {rule.half_width:g} at most{most}."
