"""How commands tell what went wrong, and how far they are."""

import errno
import functools
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

import click

from emberline.cli.names import bench_names, trial_names
from emberline.cli.streams import can_draw

P = ParamSpec("P")
R = TypeVar("R")

INTERRUPTED, CANNOT_WRITE, NO_DAEMON, NOT_RECORDING, SOME_FAILED = 1, 5, 6, 7, 8

CODES = {
    0: "done",
    INTERRUPTED: "interrupted",
    2: "wrong usage, or a file with problems",
    3: "no such store, trial or series",
    4: "the store cannot be used",
    CANNOT_WRITE: "a file cannot be written",
    NO_DAEMON: "no daemon runs there, it refused, or it failed",
    NOT_RECORDING: "a daemon runs there and records nothing",
    SOME_FAILED: "some of several could not be done, the others are",
}
"""Exit codes of all commands, and what they mean."""

ANY_COMMAND = (0, INTERRUPTED, 2, CANNOT_WRITE)
"""Codes that every command can give: any can be interrupted, be misused, or have no room for its output."""

_NO_WAY_TO_WRITE = {
    errno.ENOSPC: "make room there, or name another place",
    errno.EDQUOT: "make room there, or name another place",
    errno.EFBIG: "name another place",
    errno.EACCES: "name a place where you may write, or do it as another user",
    errno.EPERM: "name a place where you may write, or do it as another user",
    errno.EROFS: "name a place where you may write",
    errno.EIO: "its disk may be broken: copy what you need",
}
"""What to do about errors of the system that are nobody's bug."""

trial_argument = click.argument("trial", shell_complete=trial_names)

data_option = click.option(
    "--data",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Data directory.  [default: $EMBERLINE_DATA, else ./emberline-data]",
)


def target_options(kinds: str) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Return the options of a command that writes one file: `--to` and `--overwrite`.

    Args:
        kinds: What the file may be, for its help.
    """

    def added(command: Callable[P, R]) -> Callable[P, R]:
        replace = click.option("--overwrite", is_flag=True, help="Replace the file if it exists.")
        to = click.option(
            "--to",
            "target",
            type=click.Path(path_type=Path),
            required=True,
            metavar="FILE",
            help=f"File that ends in {kinds}.",
        )
        return to(replace(command))

    return added


EITHER = "--archive takes the place of --data: say one of them"


def archive_option(what: str) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Return the option `--archive` of a command that can work on one; `what` says what it does then."""
    return click.option("--archive", metavar="LOCATION", help=what)


bench_option = click.option(
    "--bench",
    metavar="ID",
    shell_complete=bench_names,
    help="Id of the bench; needed only where the daemon records several.",
)


def pairs(_: click.Context, parameter: click.Parameter, values: tuple[str, ...]) -> dict[str, str]:
    """Read an option that may be given several times as NAME=VALUE; its metavar says what it looks like."""
    found: dict[str, str] = {}
    for value in values:
        name, equals, rest = (part.strip() for part in value.partition("="))
        if not (name and equals and rest):
            raise click.BadParameter(f"{value!r} is not {parameter.metavar}")
        if name in found:
            raise click.BadParameter(f"{name} is given twice")
        found[name] = rest
    return found


class InOrder(click.Group):
    """A group that lists its commands in the order in which a person needs them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names as they were added."""
        return list(self.commands)


class Program(InOrder):
    """The group of all commands, which ends in order also where nothing can be written, be it help or a summary."""

    def main(self, *args: Any, **extra: Any) -> Any:
        """Run it, as click does."""
        try:
            try:
                return super().main(*args, **extra)
            finally:
                sys.stdout.flush()
        except BrokenPipeError:
            _give_up_output()
            sys.exit(1)
        except OSError as exc:
            advice = None if exc.errno is None else _NO_WAY_TO_WRITE.get(exc.errno)
            if advice is None:
                raise
            if exc.filename is None:
                _give_up_output()
            click.echo(f"Error: cannot write {exc.filename or 'the output'}: {exc.strerror}: {advice}", err=True)
            sys.exit(CANNOT_WRITE)


def _give_up_output() -> None:
    """Let what is left for standard output go nowhere: Python would try again at its end, and fail again."""
    with open(os.devnull, "w") as nowhere:  # noqa: PTH123 no path that a person names
        os.dup2(nowhere.fileno(), 1)


def epilog(example: str, *codes: int) -> str:
    """Return the end of a command's help: an example, and the exit codes that it can give beside any command's."""
    listed = "; ".join(f"{code} {CODES[code]}" for code in sorted({*ANY_COMMAND, *codes}))
    return f"Example: {example}\n\nExit codes: {listed}."


def telling(command: Callable[P, R]) -> Callable[P, R]:
    """Turn the errors that a command expects into a message and an exit code; others are bugs and stay as they are."""

    @functools.wraps(command)
    def told(*args: P.args, **kwargs: P.kwargs) -> R:
        try:
            return command(*args, **kwargs)
        except Exception as exc:
            code = _code_of(exc)
            if code is None:
                raise
            click.echo(f"Error: {exc}", err=True)
            raise click.exceptions.Exit(code) from exc

    return told


def _code_of(error: Exception) -> int | None:
    """Return the exit code of an error that a command expects; None for a bug."""
    # Imported once something went wrong: until then, no command waits for more than it needs.
    from emberline.app import OutputError
    from emberline.bench.errors import BenchError
    from emberline.config import ConfigError
    from emberline.links.errors import LinkError
    from emberline.service.errors import ServiceError
    from emberline.store.errors import (
        ExportError,
        SeriesKnownError,
        StoreError,
        StoreMissingError,
        UnknownSeriesError,
        UnknownTrialError,
    )
    from emberline.trials.comparison.errors import ComparisonError

    kinds: tuple[tuple[tuple[type[Exception], ...], int], ...] = (
        ((ConfigError, BenchError, LinkError, ComparisonError, SeriesKnownError), 2),
        ((StoreMissingError, UnknownTrialError, UnknownSeriesError), 3),
        ((OutputError, ExportError), CANNOT_WRITE),
        ((StoreError,), 4),
        ((ServiceError,), NO_DAEMON),
    )
    return next((code for kind, code in kinds if isinstance(error, kind)), None)


@contextmanager
def progress(steps: int | None) -> Iterator[Callable[[str], None]]:
    """Show on a terminal's standard error how far a command is; the function given is told what begins.

    Args:
        steps: How often something begins; None where nobody can tell before.
    """
    from rich.console import Console
    from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    console = Console(stderr=True)
    if not can_draw(console):
        yield lambda _: None
        return
    columns: tuple[Any, ...] = (SpinnerColumn(), TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("", total=steps)
        begun = 0

        def stage(text: str) -> None:
            nonlocal begun
            bar.update(task, description=text, completed=begun)
            begun += 1

        yield stage
