import errno
import io
import os
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from emberline.app import OutputError
from emberline.bench.errors import PlanError, Problem
from emberline.cli.telling import CODES, Program, epilog, progress, telling
from emberline.config import ConfigError
from emberline.links.errors import RecordingError
from emberline.store.errors import ExportError, StoreBusyError, StoreMissingError, UnknownTrialError


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (ConfigError(Path("x"), "told"), 2),
        (PlanError((Problem("told"),)), 2),
        (RecordingError("told"), 2),
        (StoreMissingError("told"), 3),
        (UnknownTrialError("told"), 3),
        (StoreBusyError("told"), 4),
        (OutputError("told"), 5),
        (ExportError("told"), 5),
    ],
)
def test_each_kind_of_error_has_its_code(error: Exception, code: int) -> None:
    @click.command()
    @telling
    def fails() -> None:
        raise error

    result = CliRunner().invoke(fails)
    assert (result.exit_code, result.stderr, result.stdout) == (code, "Error: told\n", "")


def failing(error: Exception) -> Program:
    """Return a program whose only command fails."""

    @click.command()
    @telling
    def fails() -> None:
        raise error

    program = Program()
    program.add_command(fails)
    return program


@pytest.mark.parametrize(
    ("number", "advice"), [(errno.ENOSPC, "make room"), (errno.EACCES, "where you may write"), (errno.EROFS, "a place")]
)
def test_a_system_that_lets_nothing_be_written_is_no_bug(number: int, advice: str) -> None:
    result = CliRunner().invoke(failing(OSError(number, os.strerror(number), "burns/page.html")), ["fails"])
    assert (result.exit_code, result.stdout) == (5, "")
    assert result.stderr.startswith(f"Error: cannot write burns/page.html: {os.strerror(number)}: ")
    assert advice in result.stderr


def test_other_errors_of_the_system_are_bugs() -> None:
    result = CliRunner().invoke(failing(OSError(errno.EBADF, os.strerror(errno.EBADF))), ["fails"])
    assert isinstance(result.exception, OSError)


def test_a_bug_is_not_hidden() -> None:
    @telling
    def fails() -> None:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fails()


def test_the_end_of_a_help_lists_the_codes() -> None:
    text = epilog("emberline x", 3)
    listed = "; ".join(f"{code} {CODES[code]}" for code in (0, 1, 2, 3, 5))
    assert text == f"Example: emberline x\n\nExit codes: {listed}."


def test_progress_is_silent_where_there_is_no_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    stream = io.StringIO()
    monkeypatch.setattr(sys, "stderr", stream)
    with progress(2) as stage:
        stage("one")
    assert stream.getvalue() == ""


def test_progress_on_a_terminal_goes_to_standard_error(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    class Screen(io.StringIO):
        def isatty(self) -> bool:
            return True

    stream = Screen()
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys, "stderr", stream)
    with progress(2) as stage:
        stage("reading the file")
        stage("writing")
    assert "reading the file" in stream.getvalue() or "writing" in stream.getvalue()
    with progress(None) as stage:
        stage("reading what nobody has counted")
    assert "nobody has counted" in stream.getvalue()
    assert capsys.readouterr().out == ""
