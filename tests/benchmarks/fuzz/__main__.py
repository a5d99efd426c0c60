"""`deploy/bench fuzz`: a million and more executions of every parser that takes bytes from outside."""

import random
import time
import traceback
from collections import Counter

import click
from rich.console import Console
from rich.progress import Progress
from rich.table import Table

from benchmarks.fuzz.targets import Target, targets

ALL, QUICK = 1_100_000, 20_000
SHORTEST, LONGEST = 16, 256
"""Random bytes of which one input is made."""
AT_A_TIME = 500


@click.command()
@click.option("--quick", is_flag=True, help=f"{QUICK:,} executions instead of {ALL:,}.")
@click.option("--count", type=click.IntRange(1), help="That many executions, shared out between the parsers.")
@click.option("--seed", default=1, show_default=True, help="Another seed gives other inputs.")
@click.option("--only", default="", metavar="TEXT", help="Only parsers with this text in their name.")
def main(*, quick: bool, count: int | None, seed: int, only: str) -> None:
    """Feed every parser that takes bytes from outside with damaged and made-up input, and count what happens.

    Wire frames, messages, sessions, broker packets, SenML, plans, bench files, tables, and what is read back from disk.
    Each may raise its own errors and no others, and what it returns must fit together. Exit code 1 if anything else
    happened: the input is printed, and a new test should hold it.
    """
    chosen = [one for one in targets() if only in one.name]
    if not chosen:
        raise click.UsageError(f"no parser has {only!r} in its name")
    total = count if count is not None else QUICK if quick else ALL
    failures: dict[str, str] = {}
    console = Console()
    table = Table("parser", "executions", "per second", "failures")
    began_s, done = time.monotonic(), 0
    with Progress(console=Console(stderr=True)) as progress:
        task = progress.add_task("fuzzing", total=total)
        for target in chosen:
            wanted = max(1, round(total * target.share / sum(one.share for one in chosen)))
            start_s, found = time.monotonic(), Counter[str]()
            dice = random.Random(f"{seed} {target.name}")
            while target.executions < wanted:
                times = min(AT_A_TIME, wanted - target.executions)
                feed(target, dice, times, found, failures)
                progress.advance(task, times)
            spent_s = time.monotonic() - start_s
            done += target.executions
            table.add_row(
                target.name, f"{target.executions:,}", f"{target.executions / spent_s:,.0f}", str(found.total())
            )
    table.add_section()
    table.add_row("all", f"{done:,}", f"{done / (time.monotonic() - began_s):,.0f}", str(len(failures)))
    console.print(table)
    for words, trace in failures.items():
        console.print(f"[bold red]{words}[/]\n{trace}", highlight=False, markup=False)
    if failures:
        raise SystemExit(1)


def feed(target: Target, dice: random.Random, times: int, found: "Counter[str]", failures: dict[str, str]) -> None:
    """Run a parser so many times; failures of one kind are kept once, with the input that showed them."""
    for _ in range(times):
        data = dice.randbytes(dice.randint(SHORTEST, LONGEST))
        try:
            target.run(data)
        except Exception as error:  # noqa: BLE001 any kind is what is looked for
            place = traceback.extract_tb(error.__traceback__)[-1]
            key = f"{target.name}: {type(error).__name__} at {place.name}, line {place.lineno}"
            found[key] += 1
            if found[key] == 1:
                trace = "".join(traceback.format_exception(error, limit=-6))
                failures[key] = f"input: {target.make(data)[:2000].hex()}\n{trace}"


if __name__ == "__main__":
    main()
