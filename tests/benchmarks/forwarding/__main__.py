"""The command `deploy/bench forwarding`."""

import asyncio
import tempfile
from pathlib import Path
from statistics import median

import click

from benchmarks.forwarding.acknowledged import quantile
from benchmarks.forwarding.running import Plan, run
from benchmarks.service.verdict import at_most, tell

HUNG_S, QUICK_S, AFTER_S = 180.0, 30.0, 60.0
RATIO = 1.25


@click.command(name="deploy/bench forwarding")
@click.option("--quick", is_flag=True, help=f"The server hangs for {QUICK_S:g} s instead of {HUNG_S:g} s.")
@click.option(
    "--json", "json_file", type=click.Path(dir_okay=False, path_type=Path), help="Write the figures into this file."
)
def main(*, quick: bool, json_file: Path | None) -> None:
    """Hang the time-series server of one of two benches that record side by side, and see what it costs.

    The time from readings to their acknowledgement, which follows the commit, is taken at the broker through which both
    benches send. Once the server answers again, it has to have a row of each sample. Takes some five minutes. Exit code
    1 if a bar is missed.
    """
    plan = Plan(QUICK_S if quick else HUNG_S, AFTER_S)
    with tempfile.TemporaryDirectory(prefix="emberline-forwarding-") as folder:
        found = asyncio.run(run(Path(folder), plan, lambda words: click.echo(words, err=True)))
    alone_s, hung_s = (quantile(lags, 0.99) for lags in (found.alone_s, found.hung_s))
    figures: dict[str, object] = {
        "messages acknowledged, without and with a server": f"{len(found.alone_s):,} and {len(found.hung_s):,}",
        "readings to acknowledgement without a server, median (s)": f"{median(found.alone_s):.4f}",
        "with a server that hangs, median (s)": f"{median(found.hung_s):.4f}",
        "without a server, 99 % (s)": f"{alone_s:.4f}",
        "with a server that hangs, 99 % (s)": f"{hung_s:.4f}",
        "requests left without an answer": found.attempts,
    }
    bars = [
        at_most("99 % with a hung server, over that without", hung_s / alone_s, RATIO),
        at_most("samples lost", found.lost, 0),
        at_most("samples unaccounted for", found.unaccounted, 0),
        at_most("samples stored twice", found.doubled, 0),
        at_most("samples that the server lacks in the end", found.missing, 0),
        at_most("rows of the server that are no sample's", found.more, 0),
    ]
    tell(f"a server that hangs for {plan.hung_s:g} s", figures, bars, json_file)


if __name__ == "__main__":
    main()
