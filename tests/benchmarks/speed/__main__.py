"""The command `deploy/bench speed`."""

import asyncio
import tempfile
from pathlib import Path

import click
from rich.console import Console

from benchmarks.accuracy.pace import hour
from benchmarks.accuracy.pace import measure as measure_pace
from benchmarks.service.verdict import Bar, at_most, judge
from benchmarks.speed import ingest, many, program, rivals, room, wire
from benchmarks.speed.figures import Figure, Other, table
from benchmarks.speed.hour import bench_of, seconds_of
from emberline.bench.plan import parse_plan
from emberline_sim.files import plan_text

ANALYSIS_S = 0.15
TITLE = "speed"


@click.command(name="deploy/bench speed")
@click.option("--quick", is_flag=True, help="Fewer repeats, a shorter burn and fewer benches: one to two minutes.")
@click.option(
    "--json", "json_file", type=click.Path(dir_okay=False, path_type=Path), help="Write the figures into this file."
)
def main(*, quick: bool, json_file: Path | None) -> None:
    """Measure how fast and how small everything is, each figure beside a baseline and a limit of the same run.

    Ways that are compared are timed in turns, by the processor's time where nothing waits for a disk: on a machine
    with other work the ratios hold, while what is counted by the second or by the wall clock is the machine's state as
    well. Exit code 1 if a bar is missed. The memory of a daemon and the age of a page need a Mosquitto.
    """
    times, burn_s, burns, trials, more, seconds = (
        (3, 600.0, 8, 12, 4, 10.0) if quick else (11, 3600.0, 40, 60, 40, 30.0)
    )
    console = Console()
    figures: list[Figure] = []
    bars: list[Bar] = []

    def found(more_figures: list[Figure], more_bars: list[Bar] | None = None) -> None:
        figures.extend(more_figures)
        bars.extend(more_bars or [])

    with tempfile.TemporaryDirectory(prefix="emberline-speed-") as name:
        folder = Path(name)
        found(*wire.measure(times))
        recording = hour()
        bench, commits = bench_of(recording), seconds_of(recording, burn_s)
        found(ingest.measure_commits(folder, commits, min(times, 9)))
        found(ingest.measure_tracking(bench, parse_plan(plan_text(recording)), commits))
        found(*_analysis(times))
        found(*rivals.measure(burns))
        found(*room.measure(folder, bench, commits, times))
        worked_out, efficiency = many.measure(folder / "many", commits, plan_text(recording), trials)
        # A few short trials take less time than starting the processes does, and say nothing about the many.
        found(worked_out, [] if quick else efficiency)
        found(*program.measure_help(times))
        found(*asyncio.run(program.measure_memory(folder, more, seconds)))
        found(asyncio.run(program.measure_age(folder / "age", seconds)))
    console.print(table(TITLE, figures))
    judge(console, TITLE, {figure.name: figure.as_dict() for figure in figures}, bars, json_file)


def _analysis(times: int) -> tuple[list[Figure], list[Bar]]:
    pace = measure_pace(times)
    analysis_s = pace.analysis_ms / 1000.0
    figure = Figure("final analysis of an hour at 10 Hz", analysis_s, "s", Other("`ruptures`", pace.plain_ms / 1000.0))
    return [figure], [at_most("final analysis", analysis_s, ANALYSIS_S, "s")]


if __name__ == "__main__":
    main()
