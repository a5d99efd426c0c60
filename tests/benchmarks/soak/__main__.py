"""The command `deploy/bench soak`."""

import asyncio
import tempfile
from pathlib import Path

import click

from benchmarks.service.verdict import at_most, tell
from benchmarks.soak.course import Slope
from benchmarks.soak.running import run

MINUTES, QUICK_MINUTES = 45.0, 3.0
"""A quarter of an hour to warm up, and half an hour in which the memory's slope is judged: Python takes memory from the
system by the megabyte, and one more within the last quarter of an hour alone reads as 4 MB/h and more."""
ENOUGH_MINUTES = MINUTES
"""A shorter soak says nothing of the memory's slope."""


@click.command(name="deploy/bench soak")
@click.option("--quick", is_flag=True, help=f"{QUICK_MINUTES:g} minutes: the memory's slope is told, not judged.")
@click.option("--minutes", type=click.FloatRange(0.5), help=f"So many minutes.  [default: {MINUTES:g}]")
@click.option("--seed", default=1, show_default=True, help="Another seed gives other faults.")
@click.option(
    "--json", "json_file", type=click.Path(dir_okay=False, path_type=Path), help="Write the figures into this file."
)
def main(*, quick: bool, minutes: float | None, seed: int, json_file: Path | None) -> None:
    """Record burn after burn at many times the pace while faults of all kinds come and go, and watch what grows.

    Two daemons: one on a cable that is pulled and spoilt, one behind a broker that is killed, stopped and frozen;
    viewers stall, readers of the store do not end. Memory is watched in the daemons and in the processes that they
    start and keep; those that work out a summary end with it. Its slope is that of a robust line through each burn's
    lowest value after the first third (the median of the slopes between any two), told with its 95 % interval. Exit
    code 1 if a bar is missed.
    """
    length_min = minutes or (QUICK_MINUTES if quick else MINUTES)
    with tempfile.TemporaryDirectory(prefix="emberline-soak-") as folder:
        found = asyncio.run(run(Path(folder), 60.0 * length_min, seed, lambda words: click.echo(words, err=True)))
    figures: dict[str, object] = {
        "burns": found.burns,
        "faults": sum(found.faults.values()),
        **{f"of these, {name}": number for name, number in sorted(found.faults.items())},
        "samples taken": found.taken,
        "samples stored": found.stored,
        "samples flagged lost": found.lost,
        "samples gone unheard with a device that restarted": found.unheard,
    }
    bars = [
        at_most("samples unaccounted for", found.unaccounted, 0),
        at_most("samples stored twice", found.doubled, 0),
        at_most("losses without a cause", found.unnamed, 0),
    ]
    for name, course in found.courses.items():
        alone, tree = course.slope(course.rss_mb), course.slope(course.tree_mb)
        figures |= {
            f"{name}: memory, last (MB)": course.rss_mb[-1],
            f"{name}: memory with processes that stay, last (MB)": course.tree_mb[-1],
            f"{name}: memory's slope (MB/h)": _told(alone),
            f"{name}: memory's slope with processes that stay (MB/h)": _told(tree),
            f"{name}: processes, first and most": f"{course.processes[0]} and {max(course.processes)}",
            f"{name}: open files, first and most": f"{course.files[0]} and {max(course.files)}",
            f"{name}: threads, first and most": f"{course.threads[0]} and {max(course.threads)}",
            f"{name}: journal, largest (MB)": max(course.journal_mb),
            f"{name}: event loop held up, longest (s)": max(course.lag_s),
        }
        bars += [
            at_most(f"{name}: growth of open files", course.growth(course.files), 5),
            at_most(f"{name}: growth of threads", course.growth(course.threads), 5),
            at_most(f"{name}: growth of processes", course.growth(course.processes), 1),
            at_most(f"{name}: journal", max(course.journal_mb), 64, "MB"),
        ]
        if length_min >= ENOUGH_MINUTES:
            bars += [
                at_most(f"{name}: memory's slope", alone.mb_h, 1.0, "MB/h"),
                at_most(f"{name}: memory's slope with processes that stay", tree.mb_h, 1.0, "MB/h"),
            ]
    tell(f"soak of {length_min:g} min, seed {seed}", figures, bars, json_file)


def _told(slope: Slope) -> str:
    return f"{slope.mb_h:+.2f}, between {slope.low_mb_h:+.2f} and {slope.high_mb_h:+.2f}"


if __name__ == "__main__":
    main()
