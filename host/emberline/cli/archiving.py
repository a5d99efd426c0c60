"""Commands past one machine: `archive` and `reanalyse`."""

from pathlib import Path

import click

from emberline.cli.burns import data_folder
from emberline.cli.telling import data_option, epilog, progress, telling


@click.command(epilog=epilog("emberline archive /mnt/lab/burns", 2, 3, 4, 5))
@click.argument("location")
@data_option
@telling
def archive(location: str, data: Path | None) -> None:
    """Keep all trials that have ended in an archive too: a Parquet file each, by bench and month.

    LOCATION is a folder, or any place that fsspec knows, such as s3://lab/burns. What the archive has as it is now is
    left alone, so it may be said every night, and again after an interruption; a daemon may go on recording. Any number
    of data directories may have one archive in common: `emberline compare --archive` compares their trials.
    """
    from emberline.app.archiving import archiving

    due = archiving(data_folder(data), location)
    with progress(len(due.trials)) as stage:
        written = due.run(lambda trial: stage(f"archiving {trial}"))
    there, later = len(due.trials) - written, f"; {due.running} still run" if due.running else ""
    click.echo(f"{location}: {written} trials written, {there} were there as they are{later}")
