"""The command `deploy/bench viewers`."""

import asyncio
import tempfile
from pathlib import Path

import click

from benchmarks.service.verdict import at_most, tell
from benchmarks.viewers.running import NAMES, Plan, run

LATE_P95_S = 0.3


@click.command(name="deploy/bench viewers")
@click.option("--viewers", type=click.IntRange(1, 400), default=50, show_default=True, help="Those who watch.")
@click.option(
    "--asleep", type=click.IntRange(0, 50), default=5, show_default=True, help="Those who ask and then read nothing."
)
@click.option("--benches", type=click.IntRange(1, len(NAMES)), default=4, show_default=True, help="Benches at 10 Hz.")
@click.option("--seconds", type=click.FloatRange(10.0), default=60.0, show_default=True, help="How long they watch.")
@click.option(
    "--frame-period", type=click.FloatRange(0.1, 2.0), default=1.0, show_default=True,
    help="Seconds between a device's frames: the less, the more often pages change.",
)  # fmt: skip
@click.option(
    "--json", "json_file", type=click.Path(dir_okay=False, path_type=Path), help="Write the figures into this file."
)
def main(
    *, viewers: int, asleep: int, benches: int, seconds: float, frame_period: float, json_file: Path | None
) -> None:
    """Have many people watch one daemon that records several benches, and see that no sample is lost.

    It also measures how long after its commit a reading is at each viewer. The viewers are a process of their own on
    this machine, as the benches are, so that what they cost slows the daemon as well. Exit code 1 if a bar is missed.
    """
    plan = Plan(viewers, asleep, benches, seconds, frame_period)
    with tempfile.TemporaryDirectory(prefix="emberline-viewers-") as folder:
        found = asyncio.run(run(Path(folder), plan, lambda words: click.echo(words, err=True)))
    figures: dict[str, object] = {
        "samples taken": found.taken,
        "samples stored": found.stored,
        "messages to viewers": found.messages,
        "commits seen by each viewer, fewest": found.fewest_commits,
        "commit to viewer, median (s)": found.late_at(0.5),
        "commit to viewer, 95 % (s)": found.late_at(0.95),
        "commit to viewer, longest (s)": found.late_s[-1],
        "event loop held up, longest (s)": found.held_up_s,
    }
    bars = [
        at_most("samples lost", found.lost, 0),
        at_most("samples unaccounted for", found.unaccounted, 0),
        at_most("samples stored twice", found.doubled, 0),
        at_most("viewers whose connection broke", found.breaks, 0),
        at_most("commit to viewer, 95 %", found.late_at(0.95), LATE_P95_S, "s"),
    ]
    tell(f"{viewers} viewers of {benches} benches, {asleep} more asleep", figures, bars, json_file)


if __name__ == "__main__":
    main()
