"""The command `deploy/bench accuracy`."""

import dataclasses
import json
import os
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from functools import partial
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from benchmarks.accuracy import tables
from benchmarks.accuracy.bars import Bar, bars
from benchmarks.accuracy.burns import Name, burn, families, names, simulators
from benchmarks.accuracy.judging import judge
from benchmarks.accuracy.pace import measure
from benchmarks.accuracy.published import SlabOutcome, judge_slab, slabs
from benchmarks.accuracy.scoring import Outcome

ALL, QUICK = 1000, 60
OPEN_DATA = "EMBERLINE_OPEN_DATA"
WIDTH = 150


@click.command(name="deploy/bench accuracy")
@click.option("--quick", is_flag=True, help=f"{QUICK} burns instead of {ALL}.")
@click.option("--burns", "count", type=click.IntRange(0), help="So many burns.")
@click.option("--seed", type=int, default=1, show_default=True, help="Seed of the first burn; the others follow it.")
@click.option("--simulator", type=click.Choice(simulators()), help="Burns of one simulator alone.")
@click.option("--family", help="Burns of one family alone.")
@click.option("--burn", "wanted", multiple=True, metavar="NAME", help="This burn alone, as SIMULATOR/FAMILY/SEED.")
@click.option("--final", is_flag=True, help="The final pass alone: no announcements and forecasts, many times faster.")
@click.option("--no-open-data", is_flag=True, help=f"Leave out published burns, even where {OPEN_DATA} is set.")
@click.option("--procs", type=click.IntRange(1), default=os.cpu_count() or 1, help="Processes.  [default: all cores]")
@click.option("--worst", type=click.IntRange(0), default=0, help="Name so many of the worst cases of each kind.")
@click.option(
    "--json",
    "json_file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write all cases and the bars into this file.",
)
def main(
    *,
    quick: bool,
    count: int | None,
    seed: int,
    simulator: str | None,
    family: str | None,
    wanted: tuple[str, ...],
    final: bool,
    no_open_data: bool,
    procs: int,
    worst: int,
    json_file: Path | None,
) -> None:
    """Judge events, results and forecasts on random simulated burns, and on published ones.

    Two simulators of different kind make the burns; every burn can be made again from its name. Published burns are
    taken in where EMBERLINE_OPEN_DATA names their folder. Exit code 0 even where a bar is missed; 1 if an analysis
    crashed; 2 for a wrong option.
    """
    number = count if count is not None else QUICK if quick else ALL
    chosen = [_named(text) for text in wanted] or names(number, seed, simulator, family)
    if not chosen and number:
        known = ", ".join(kin for one in simulators() for kin in families(one))
        raise click.UsageError(f"no such family {family!r}; known: {known}")
    root = Path(os.environ[OPEN_DATA]) if os.environ.get(OPEN_DATA) and not (no_open_data or wanted) else None
    console = Console(width=None if Console().is_terminal else WIDTH)
    outcomes, published, crashes = run(chosen, root, procs, live=not final)
    pace = None if wanted else measure()
    reached = bars(outcomes, published, pace)
    show(console, outcomes, reached, worst or (3 if wanted else 0))
    if json_file is not None:
        json_file.write_text(_document(outcomes, published, reached, crashes), encoding="utf-8")
    for text in crashes:
        console.print(f"[bold red]crashed[/] {text}", highlight=False)
    if crashes:
        raise SystemExit(1)


def run(
    chosen: Sequence[Name], root: Path | None, procs: int, *, live: bool
) -> tuple[list[Outcome], list[SlabOutcome], list[str]]:
    """Judge all burns in processes of their own; return what became of them, in order, and which analyses crashed."""
    outcomes: dict[Name, Outcome] = {}
    published: dict[str, SlabOutcome] = {}
    crashes: list[str] = []
    with _progress() as progress, ProcessPoolExecutor(procs) as pool:
        jobs: dict[Future[Any], Any] = {pool.submit(_judged, name, live=live): name for name in chosen}
        if root is not None:
            jobs |= {pool.submit(partial(judge_slab, root), slab): slab for slab in slabs(root)}
        task = progress.add_task("burns", total=len(jobs))
        for done_so_far, job in enumerate(as_completed(jobs), 1):
            if not progress.console.is_terminal and done_so_far % max(1, len(jobs) // 10) == 0:
                progress.console.print(f"{done_so_far} of {len(jobs)}", highlight=False)
            failed = job.exception()
            if failed is not None:
                crashes.append(f"{jobs[job]}: {type(failed).__name__}: {failed}")
            elif isinstance(done := job.result(), Outcome):
                outcomes[jobs[job]] = done
            else:
                published[str(jobs[job])] = done
            progress.advance(task)
    return (
        [outcomes[name] for name in chosen if name in outcomes],
        [published[key] for key in sorted(published)],
        crashes,
    )


def show(console: Console, outcomes: Sequence[Outcome], reached: Sequence[Bar], worst: int) -> None:
    """Print all tables."""
    tables.print_events(console, outcomes)
    tables.print_results(console, outcomes)
    tables.print_rivals(console, outcomes)
    tables.print_coverage(console, outcomes)
    tables.print_worst(console, outcomes, worst)
    tables.print_bars(console, reached)


def _judged(name: Name, *, live: bool) -> Outcome:
    return judge(burn(name), live=live)


def _named(text: str) -> Name:
    simulator, _, rest = text.partition("/")
    family, _, seed = rest.partition("/")
    if simulator not in simulators() or family not in families(simulator) or not seed.isdecimal():
        raise click.BadParameter(f"{text!r} is no SIMULATOR/FAMILY/SEED", param_hint="--burn")
    return Name(simulator, family, int(seed))


def _progress() -> Progress:
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    return Progress(*columns, console=Console(stderr=True))


def _document(
    outcomes: Sequence[Outcome], published: Sequence[SlabOutcome], reached: Sequence[Bar], crashes: Sequence[str]
) -> str:
    tree = {
        "burns": [dict(_plain(dataclasses.asdict(outcome)), traits=sorted(outcome.traits)) for outcome in outcomes],
        "published": [_plain(dataclasses.asdict(one)) for one in published],
        "bars": [dataclasses.asdict(bar) for bar in reached],
        "crashes": list(crashes),
    }
    return json.dumps(tree, indent=1, default=float, allow_nan=False) + "\n"


def _plain(tree: Any) -> Any:
    """Return a tree that JSON can hold: no NaN, no sets."""
    match tree:
        case dict():
            return {str(key): _plain(value) for key, value in _items(tree)}
        case list() | tuple() | frozenset():
            return [_plain(value) for value in tree]
        case float() if tree != tree:
            return None
    return tree


def _items(tree: dict[Any, Any]) -> Iterator[tuple[Any, Any]]:
    yield from tree.items()


if __name__ == "__main__":
    main()
