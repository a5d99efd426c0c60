"""The shell snippets of a page, and a person who follows them in a folder.

A comment on the line before a snippet says what else than running it to its end is to be done with it:
`<!-- stays -->` leaves it running until the page is over, `<!-- stays until: TEXT -->` until it has printed that, and
`<!-- not run: REASON -->` leaves it out. A TOML block whose first line is a comment with a file's name is written to
that file, as a reader would.
"""

import os
import re
import shlex
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

import click

from emberline.cli import main

BLOCK = re.compile(
    r"^(?:<!-- (?P<mark>[^\n]*?) -->\n)?```(?P<language>\w+)\n(?P<text>.*?)^```", re.MULTILINE | re.DOTALL
)
NAMED = re.compile(r"# (?P<name>[\w-]+\.toml)\n")
CALL = re.compile(r"\s*(?:do\s+)?(?:sudo\s+(?:-u\s+\w+\s+)?)?(?:\S*/)?emberline\s+(?P<rest>.*)")
LIMIT_S = 120.0
NO_DAEMON = 6
"""Exit code where no daemon runs yet, or no reading has come."""
NOT_PLUGGED_IN = b"is the device plugged in?"


@dataclass(frozen=True)
class Snippet:
    """One block of a page.

    Attributes:
        page: The page.
        line: Its line there, from 1.
        language: `sh` or `toml`, or another that nobody runs.
        text: What stands in it.
        left_out: Why it is not run; empty where it is.
        stays: Whether it is left running.
        until: What it prints when it has run for long enough; empty where it stays until the page is over.
    """

    page: Path
    line: int
    language: str
    text: str
    left_out: str = ""
    stays: bool = False
    until: str = ""

    def __str__(self) -> str:
        return f"{self.page.name}:{self.line}"

    @property
    def lines(self) -> list[str]:
        """Its commands where each stands on a line of its own."""
        return self.text.splitlines()


def snippets(page: Path, language: str = "sh") -> list[Snippet]:
    """Return the blocks of a page in a language, in order."""
    text = page.read_text(encoding="utf-8")
    found = []
    for block in BLOCK.finditer(text):
        word, _, rest = (block["mark"] or "").partition(":")
        line = text.count("\n", 0, block.start("text")) + 1
        left_out = rest.strip() if word == "not run" else ""
        stays, until = word in ("stays", "stays until"), rest.strip() if word == "stays until" else ""
        found.append(Snippet(page, line, block["language"], block["text"], left_out, stays, until))
    return [one for one in found if language in ("", one.language)]


def emberline_calls(snippet: Snippet) -> Iterator[list[str]]:
    """Yield the words of each call of the program in a snippet, its name left out."""
    for line in snippet.lines:
        for part in re.split(r"\||;|&&", line.partition(" #")[0]):
            if called := CALL.match(part):
                yield shlex.split(called["rest"])


def strange_words(words: Sequence[str]) -> list[str]:
    """Return the commands and options in a call of the program that it does not have."""
    command: click.Command = main
    rest = list(words)
    while isinstance(command, click.Group) and rest and not rest[0].startswith("-"):
        name = rest.pop(0)
        if name not in command.commands:
            return [name]
        command = command.commands[name]
    known = {option for parameter in command.params for option in (*parameter.opts, *parameter.secondary_opts)}
    return [word for word in rest if word.startswith("--") and word.partition("=")[0] not in {*known, "--help"}]


@dataclass
class Reader:
    """A person who follows a page in a folder.

    Attributes:
        folder: Where they stand.
        hastened: Texts in commands that would take long, with what the tests do instead.
    """

    folder: Path
    hastened: dict[str, str] = field(default_factory=dict)
    _running: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def follow(self, page: Path) -> list[Snippet]:
        """Do all that a page says, and return what was run; at the end nothing of it runs any more."""
        done = []
        try:
            for snippet in snippets(page, language=""):
                if snippet.language == "toml" and (named := NAMED.match(snippet.text)):
                    (self.folder / named["name"]).write_text(snippet.text, encoding="utf-8")
                if snippet.language == "sh" and not snippet.left_out:
                    self.run(snippet)
                    done.append(snippet)
            for process in self._running:
                assert process.poll() in (None, 0), f"{process.args!r} of {page.name} failed"
        finally:
            for process in reversed(self._running):
                _interrupt(process)
        return done

    def run(self, snippet: Snippet) -> None:
        """Run a snippet, or start what stays."""
        words = snippet.text
        for slow, quick in self.hastened.items():
            words = words.replace(slow, quick)
        if snippet.stays:
            self._stay(snippet, words)
        else:
            self._until_done(snippet, words)

    def _stay(self, snippet: Snippet, words: str) -> None:
        said = self.folder / f"said-{snippet.line}"
        with said.open("wb") as out:
            process = self._start(f"exec {words}", stdout=out, stderr=subprocess.STDOUT)
        self._running.append(process)
        if not snippet.until:
            return
        end_s = time.monotonic() + LIMIT_S
        while snippet.until not in said.read_text(encoding="utf-8", errors="replace"):
            assert process.poll() is None, f"{snippet} has ended:\n{said.read_text(errors='replace')}"
            assert time.monotonic() < end_s, (
                f"{snippet} never said {snippet.until!r}:\n{said.read_text(errors='replace')}"
            )
            time.sleep(0.1)
        _interrupt(process)
        self._running.remove(process)

    def _until_done(self, snippet: Snippet, words: str) -> None:
        """Run a snippet to its end; while what stays has not started yet, the program says so, and one tries again."""
        end_s = time.monotonic() + LIMIT_S
        while True:
            process = self._start(f"set -euo pipefail\n{words}", stdout=subprocess.PIPE, stderr=subprocess.PIPE)
            try:
                out, err = process.communicate(timeout=LIMIT_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
                raise
            not_yet = process.returncode == NO_DAEMON or (self._running and NOT_PLUGGED_IN in err)
            if not (self._running and not_yet and time.monotonic() < end_s):
                break
            time.sleep(0.2)
        assert process.returncode == 0, f"{snippet}\n{words}\n{out.decode()}{err.decode()}"

    def _start(self, words: str, stdout: int | BinaryIO, stderr: int) -> subprocess.Popen[bytes]:
        environment = {name: value for name, value in os.environ.items() if not name.startswith("EMBERLINE_")}
        environment["PATH"] = f"{Path(sys.executable).parent}:{environment['PATH']}"
        return subprocess.Popen(
            ["bash", "-c", words],
            cwd=self.folder,
            env=environment | {"HOME": str(self.folder)},
            stdin=subprocess.DEVNULL,
            stdout=stdout,
            stderr=stderr,
        )


def _interrupt(process: subprocess.Popen[bytes]) -> None:
    """Press Ctrl-C, and see to it that it ends."""
    if process.poll() is None:
        process.send_signal(signal.SIGINT)
        try:
            process.wait(20.0)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            raise
