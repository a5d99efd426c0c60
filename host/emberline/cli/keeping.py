"""Commands about the recording itself: `status` and `backup`."""

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from emberline.cli.names import bench_names
from emberline.cli.streams import echo_utf8
from emberline.cli.telling import NO_DAEMON, NOT_RECORDING, data_option, epilog, progress, telling


def _data(option: Path | None) -> Path:
    from emberline.config import data_directory

    return data_directory(option, os.environ)


@click.command(epilog=epilog("emberline status --data burns-2026", NO_DAEMON, NOT_RECORDING))
@click.option("--json", "as_json", is_flag=True, help="Print the health document as JSON.")
@click.option(
    "--bench",
    metavar="ID",
    shell_complete=bench_names,
    help="Tell of this bench alone.  [default: all that the daemon records]",
)
@data_option
@telling
def status(as_json: bool, bench: str | None, data: Path | None) -> None:
    """Say whether each bench records, and why not.

    A bench records, records with gaps, or does not record, since when, and why. The last commit to the disk decides.
    Gaps are losses since the trial began, or since the daemon did. Of several benches, the one that fares worst decides
    the exit code.
    """
    from emberline.app import health_of

    folder = _data(data)
    standing = health_of(folder, bench)
    document = standing.document
    if document is None:
        if as_json:
            echo_utf8(_json({"recording": "not recording", "why": standing.why}))
        else:
            click.echo(f"Not recording: {standing.why}")
            if standing.newest_ns is not None:
                click.echo(f"The newest stored reading is of {_local(standing.newest_ns // 10**9)}.")
        raise click.exceptions.Exit(NO_DAEMON)
    if as_json:
        echo_utf8(_json(document))
    else:
        for line in _lines(document):
            click.echo(line)
    if document["recording"] == "not recording":
        raise click.exceptions.Exit(NOT_RECORDING)


@click.command(epilog=epilog("emberline backup burns-2026-11-25.sqlite3", 3, 4))
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--overwrite", is_flag=True, help="Replace the file, once the new copy is whole and checked.")
@data_option
@telling
def backup(file: Path, overwrite: bool, data: Path | None) -> None:
    """Copy the whole store into one file, checked.

    FILE is where the copy goes; it may be made while the bench records. To go back to it, stop the daemon and put the
    copy in the place of the data folder's emberline.sqlite3, after taking away emberline.sqlite3-wal and
    emberline.sqlite3-shm. Copying emberline.sqlite3 alone while it is in use loses the newest readings; this does not.
    """
    from emberline.app import make_backup

    with progress(None) as stage:
        stage("copying the store, and checking the copy")
        size = make_backup(_data(data), file, overwrite=overwrite)
    click.echo(f"Wrote {file}: {size / 1e6:.1f} MB, checked")


def _json(document: dict[str, Any]) -> str:
    return json.dumps(document, indent=2, ensure_ascii=False) + "\n"


def _lines(document: dict[str, Any]) -> Iterator[str]:
    from emberline.service.time_words import span_words

    whole = _stands(document)
    yield whole[0].upper() + whole[1:]
    several = len(document["benches"]) > 1
    for bench in document["benches"]:
        if several:
            yield f"Bench {bench['bench']}: {_stands(bench)}"
        if bench["last_commit"] is not None:
            yield f"  last commit {span_words(bench['last_commit_age_s'])} ago; the link: {bench['link']}"
        samples = bench["samples"]
        counted = f"stored {samples['stored']:,}, sent twice {samples['repeated']:,}, lost {samples['lost']:,}"
        name = "" if several else f"bench {bench['bench']}, "
        yield f"  {name}trial {bench['trial'] or 'none'}; samples since the start: {counted}"
    free = document["disk_free_bytes"]
    room = "" if free is None else f", {free / 1e9:.1f} GB free on its disk"
    yield f"The store: {document['store_bytes'] / 1e6:.1f} MB{room}"
    if document["address"] is not None:
        yield f"For watchdogs: {document['address']}"
    for warning in document["warnings"]:
        yield f"See to this: {warning}"
    for notice in document["notices"]:
        yield f"{_local(_seconds(notice['time']))}: {notice['text']}"


def _stands(document: dict[str, Any]) -> str:
    """Say how the recording of a bench, or of all, stands, since when, and why."""
    from emberline.service.time_words import span_words

    since = f"{_local(_seconds(document['since']))} ({span_words(document['since_s'])})"
    why = f": {document['why']}" if document["why"] else ""
    return f"{document['recording']} since {since}{why}"


def _seconds(text: str) -> float:
    from datetime import datetime

    return datetime.fromisoformat(text).timestamp()


def _local(seconds: float) -> str:
    """Return a moment as a clock on the wall here shows it."""
    from datetime import datetime

    return datetime.fromtimestamp(seconds).astimezone().strftime("%Y-%m-%d %H:%M:%S")
