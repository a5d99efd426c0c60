"""Commands past one machine: `archive` and `reanalyse`."""

from pathlib import Path

import click

from emberline.cli.burns import data_folder
from emberline.cli.telling import EITHER, SOME_FAILED, archive_option, data_option, epilog, progress, telling


@click.command(epilog=epilog("emberline archive /mnt/lab/burns", 3, 4))
@click.argument("location")
@data_option
@telling
def archive(location: str, data: Path | None) -> None:
    """Keep all trials that have ended in an archive.

    Each becomes a Parquet file there, by bench and month. LOCATION is a folder, or any place that fsspec knows, such as
    s3://lab/burns. What the archive has as it is now is left alone, so it may be said every night, and again after an
    interruption; a daemon may go on recording. Any number of data directories may have one archive in common:
    `emberline compare --archive` compares their trials.
    """
    from emberline.app.archiving import archiving

    due = archiving(data_folder(data), location)
    with progress(len(due.trials)) as stage:
        written = due.run(lambda trial: stage(f"archiving {trial}"))
    there, later = len(due.trials) - written, f"; {due.running} still run" if due.running else ""
    click.echo(f"{location}: {written} trials written, {there} were there as they are{later}")


@click.command(epilog=epilog("emberline reanalyse --archive /mnt/lab/burns", 3, 4, 6, SOME_FAILED))
@archive_option("Work on what is archived there, instead of the data directory's trials.")
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="A Dask cluster, by its scheduler, such as tcp://10.0.0.4:8786; its workers need Emberline too, and must reach"
    " the archive.  [default: processes of this machine]",
)
@click.option(
    "--processes",
    type=click.IntRange(1, 256),
    default=2,
    show_default=True,
    metavar="N",
    help="How many, on this machine.",
)
@click.option("--again", is_flag=True, help="Work out also what this version has done already.")
@data_option
@telling
def reanalyse(archive: str | None, scheduler: str | None, processes: int, again: bool, data: Path | None) -> None:
    """Work out all trials that have ended anew.

    It is done several at a time, with this version of the program. What this version has worked out already is left
    alone, so an interrupted run is gone on with by saying it again. Results carry the version. A trial that fails is
    named, and the others are done all the same.
    """
    from contextlib import ExitStack

    from emberline.app import STORE_NAME
    from emberline.app.reanalysing import Outcome, due_in_archive, due_in_store
    from emberline.app.reanalysing import reanalyse as worked
    from emberline.app.workers import workers
    from emberline.store.store import Store

    if archive is not None and data is not None:
        raise click.UsageError(EITHER)
    if scheduler is not None and archive is None:
        raise click.UsageError("--scheduler needs --archive: other machines cannot reach a store's file")
    folder = data_folder(data)
    due = due_in_store(folder, again=again) if archive is None else due_in_archive(archive, again=again)
    outcome = Outcome(0, {})
    if due.jobs:
        with ExitStack() as stack:
            store = stack.enter_context(Store.open(folder / STORE_NAME)) if archive is None else None
            executor = stack.enter_context(workers(scheduler, processes))
            stage = stack.enter_context(progress(len(due.jobs)))
            outcome = worked(executor, due.jobs, store, lambda name: stage(f"worked out {name}"))
    click.echo(f"{outcome.done} trials worked out, {due.done} were done by this version already")
    for name, why in outcome.failed.items():
        click.echo(f"Not worked out: {name}: {why}", err=True)
    if outcome.failed:
        raise click.exceptions.Exit(SOME_FAILED)
