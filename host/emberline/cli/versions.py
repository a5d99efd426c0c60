"""What `emberline --version` says: all that a report of a fault needs, and nothing private."""

import os
import re
from collections.abc import Iterator
from pathlib import Path

import click

from emberline import __version__


def version_lines() -> Iterator[str]:
    """Yield the versions of the program, of what it writes and of what it runs on, and where its data would be."""
    import platform
    import sqlite3

    from emberline.store.schema import migrations
    from emberline.trials.documents import SUMMARY_SCHEMA

    yield f"emberline {__version__}"
    # A summary carries the version of the program that worked it out.
    yield f"  analysis     {__version__}, as {SUMMARY_SCHEMA}"
    yield f"  store        schema {len(migrations())}, SQLite {sqlite3.sqlite_version}"
    yield f"  Python       {platform.python_version()} ({platform.python_implementation()})"
    yield f"  platform     {platform.platform()}"
    yield f"  packages     {', '.join(_packages())}"
    yield f"  data folder  {_data_folder()}"


def _packages() -> Iterator[str]:
    """Yield the packages that this one asks for, extras too, with the versions that are installed."""
    from importlib.metadata import PackageNotFoundError, requires, version

    names = {re.split(r"[^\w.-]", requirement)[0] for requirement in requires("emberline") or ()}
    for name in sorted(names):
        try:
            yield f"{name} {version(name)}"
        except PackageNotFoundError:
            yield f"no {name}"


def _data_folder() -> str:
    from emberline.config import DATA_VARIABLE, ConfigError, data_directory

    try:
        folder = data_directory(None, os.environ)
    except ConfigError as error:
        return str(error)
    home = Path.home()
    # A person's name is nobody's business, and is part of a home folder's.
    shown = Path("~") / folder.relative_to(home) if folder.is_relative_to(home) else folder
    there = "" if folder.is_dir() else ", not there yet"
    said = f", named by {DATA_VARIABLE}" if os.environ.get(DATA_VARIABLE) else ""
    return f"{shown}{said}{there}"


def _tell(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    if not wanted or context.resilient_parsing:
        return
    for line in version_lines():
        click.echo(line)
    context.exit()


version_option = click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_tell,
    help="Show what a report of a fault needs: versions, platform, data folder.",
)
