"""The command `deploy/bench outage`."""

import asyncio
import tempfile
from pathlib import Path
from statistics import median

import click

from benchmarks.outage.running import Plan, run
from benchmarks.service.verdict import at_most, tell

MINUTES, QUICK_SPEED = 10.0, 20.0


@click.command(name="deploy/bench outage")
@click.option("--quick", is_flag=True, help=f"The same outage at {QUICK_SPEED:g} times the pace: about a minute.")
@click.option(
    "--minutes", type=click.FloatRange(0.1, 60.0), default=MINUTES, show_default=True, help="Length of the outage."
)
@click.option(
    "--returns", type=click.IntRange(1), default=6, show_default=True, help="Short outages afterwards, each timed."
)
@click.option(
    "--json", "json_file", type=click.Path(dir_okay=False, path_type=Path), help="Write the figures into this file."
)
def main(*, quick: bool, minutes: float, returns: int, json_file: Path | None) -> None:
    """Take the broker of two benches away, and pull the cable of a third, and see that no sample is lost.

    The broker forgets everything when it goes. Then come short outages; the time from the return of broker or cable to
    the first new reading on disk is measured in real seconds. It takes some four minutes
    more than the outage at the real pace.
    Exit code 1 if a bar is missed.
    """
    plan = Plan(outage_s=60.0 * minutes, speed=QUICK_SPEED if quick else 1.0, returns=returns)
    with tempfile.TemporaryDirectory(prefix="emberline-outage-") as folder:
        found = asyncio.run(run(Path(folder), plan, lambda words: click.echo(words, err=True)))
    figures: dict[str, object] = {
        "samples taken": found.taken,
        "samples stored": found.stored,
        "broker back to new readings, longest (s)": max(found.broker_s),
        "broker back to new readings, median (s)": median(found.broker_s),
        "cable back to new readings, longest (s)": max(found.cable_s),
        "cable back to new readings, median (s)": median(found.cable_s),
        "returns timed, broker and cable": f"{len(found.broker_s)} and {len(found.cable_s)}",
    }
    bars = [
        at_most("samples lost", found.lost, 0),
        at_most("samples unaccounted for", found.unaccounted, 0),
        at_most("samples stored twice", found.doubled, 0),
        at_most("broker back to new readings", max(found.broker_s), 5.0, "s"),
        at_most("cable back to new readings", max(found.cable_s), 5.0, "s"),
    ]
    tell(f"outage of {minutes:g} min at {plan.speed:g} times the pace", figures, bars, json_file)


if __name__ == "__main__":
    main()
