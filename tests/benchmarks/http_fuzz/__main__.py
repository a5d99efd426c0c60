"""The command `deploy/bench http_fuzz`."""

import asyncio
import tempfile
from pathlib import Path

import click

from benchmarks.http_fuzz.running import run
from benchmarks.service.verdict import Bar, at_most, tell

ALL, QUICK = 10_000, 1_500


@click.command(name="deploy/bench http_fuzz")
@click.option("--quick", is_flag=True, help=f"{QUICK:,} requests instead of {ALL:,}.")
@click.option("--count", type=click.IntRange(1), help="That many requests.")
@click.option("--seed", default=1, show_default=True, help="Another seed makes other requests.")
@click.option(
    "--json", "json_file", type=click.Path(dir_okay=False, path_type=Path), help="Write the figures into this file."
)
def main(*, quick: bool, count: int | None, seed: int, json_file: Path | None) -> None:
    """Ask a daemon that records a simulated bench in malformed ways, and count its answers by status.

    Methods, paths, queries, headers, bodies, forms of several parts, encodings and ids are made up or damaged; the
    first ones try to read files that are no page's. Exit code 1 if an answer was a failure of the daemon's own, if a
    request that was whole had none, if a page showed what lies elsewhere, or if recording stopped. The request is
    printed then, and a new test should hold it.
    """
    total = count if count is not None else QUICK if quick else ALL
    with tempfile.TemporaryDirectory(prefix="emberline-http-") as folder:
        found = asyncio.run(run(Path(folder), total, seed, lambda words: click.echo(words, err=True)))
    figures: dict[str, object] = {
        str(status or "ended without an answer"): times for status, times in sorted(found.statuses.items())
    }
    figures["samples stored meanwhile"] = found.stored
    for fault in found.faults[:20]:
        click.echo(fault)
    recording = found.recording == "recording"
    bars = [
        at_most("failures", len(found.faults), 0),
        Bar(f"{found.recording} in the end", float(recording), "recording", recording),
    ]
    tell(f"{total:,} malformed requests, seed {seed}", figures, bars, json_file)


if __name__ == "__main__":
    main()
