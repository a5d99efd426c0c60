"""The command `deploy/bench soak`."""

import asyncio
import tempfile
from pathlib import Path

import click

from benchmarks.service.verdict import at_most, tell
from benchmarks.soak.running import WARM_UP, run

MINUTES, QUICK_MINUTES = 30.0, 3.0


@click.command(name="deploy/bench soak")
@click.option("--quick", is_flag=True, help=f"{QUICK_MINUTES:g} minutes: too short to judge the memory's slope.")
@click.option("--minutes", type=click.FloatRange(0.5), help=f"So many minutes.  [default: {MINUTES:g}]")
@click.option("--seed", default=1, show_default=True, help="Another seed gives other faults.")
@click.option(
    "--json", "json_file", type=click.Path(dir_okay=False, path_type=Path), help="Write the figures into this file."
)
def main(*, quick: bool, minutes: float | None, seed: int, json_file: Path | None) -> None:
    """Record burn after burn at many times the pace while faults of all kinds come and go, and watch what grows.

    Two daemons: one on a cable that is pulled and spoilt, one behind a broker that is killed, stopped and frozen;
    viewers stall, readers of the store do not end. Memory, open files and threads are watched in the daemons' own
    processes; the memory's slope is fitted by least squares after a warm-up. Exit code 1 if a bar is missed.
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
    }
    bars = [
        at_most("samples unaccounted for", found.unaccounted, 0),
        at_most("samples stored twice", found.doubled, 0),
        at_most("losses without a cause", found.unnamed, 0),
    ]
    for name, course in found.courses.items():
        figures |= {
            f"{name}: memory, last (MB)": course.rss_mb[-1],
            f"{name}: memory's slope after {WARM_UP:.0%} (MB/h)": course.slope_mb_h(),
            f"{name}: standard uncertainty of the slope (MB/h)": course.u_slope_mb_h(),
            f"{name}: open files, first and most": f"{course.files[0]} and {max(course.files)}",
            f"{name}: threads, first and most": f"{course.threads[0]} and {max(course.threads)}",
            f"{name}: journal, largest (MB)": max(course.journal_mb),
            f"{name}: event loop held up, longest (s)": max(course.lag_s),
        }
        bars += [
            at_most(f"{name}: growth of open files", course.growth(course.files), 5),
            at_most(f"{name}: growth of threads", course.growth(course.threads), 5),
            at_most(f"{name}: journal", max(course.journal_mb), 64, "MB"),
        ]
        if not quick:
            bars.append(at_most(f"{name}: memory's slope", course.slope_mb_h(), 1.0, "MB/h"))
    tell(f"soak of {length_min:g} min, seed {seed}", figures, bars, json_file)


if __name__ == "__main__":
    main()
