"""Commands in terminals and pipes of all kinds: readable, without a code that is not wanted, and ended in order."""

import fcntl
import os
import pty
import re
import struct
import subprocess
import termios
from collections.abc import Mapping
from pathlib import Path

import pytest

from daemon_fixture import EMBERLINE
from emberline.app.importing import import_burn
from unit.app.small_burn import NOON_NS, burn

COLOUR = re.compile(r"\x1b\[[0-9;]*\b(3[0-8]|4[0-8]|9[0-7]|10[0-7])\b[0-9;]*m")
"""Codes that colour what follows, or its ground (ISO/IEC 6429, SGR)."""
NOTHING: Mapping[str, str] = {}
SHOWN = (("trials",), ("summary", "last"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the data of one small burn."""
    place = tmp_path_factory.mktemp("terminals")
    (place / "burn.csv").write_text(burn())
    (place / "plan.toml").write_text('label = "Späne"\nfactors = { holes = "8" }\n', encoding="utf-8")
    import_burn(
        place / "burn.csv",
        place / "emberline-data",
        plan_text=(place / "plan.toml").read_text(),
        now_ns=lambda: NOON_NS,
    )
    return place


def on_terminal(
    folder: Path, *words: str, columns: int = 80, environment: Mapping[str, str] = NOTHING
) -> tuple[int, str]:
    """Run a command on a terminal; return its exit code, and what is on the screen with all codes."""
    # Who started the tests may have told them the size of another terminal, which programs believe before their own.
    inherited = {name: value for name, value in os.environ.items() if name not in ("COLUMNS", "LINES")}
    screen, inner = pty.openpty()
    fcntl.ioctl(inner, termios.TIOCSWINSZ, struct.pack("HHHH", 30, columns, 0, 0))
    process = subprocess.Popen(
        [EMBERLINE, *words],
        cwd=folder,
        stdin=subprocess.DEVNULL,
        stdout=inner,
        stderr=inner,
        env={**inherited, "TERM": "xterm-256color", **environment},
    )
    os.close(inner)
    shown = b""
    while piece := _piece(screen):
        shown += piece
    os.close(screen)
    return process.wait(timeout=50), shown.decode()


def _piece(screen: int) -> bytes:
    try:
        return os.read(screen, 65536)
    except OSError:  # the program has closed its end
        return b""


def in_pipe(folder: Path, *words: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    command = [EMBERLINE, *words]
    return subprocess.run(
        command, cwd=folder, capture_output=True, env={**os.environ, **environment}, timeout=50, check=False
    )


@pytest.mark.parametrize("words", SHOWN, ids=" ".join)
def test_no_colour_is_shown_where_none_is_wanted(folder: Path, words: tuple[str, ...]) -> None:
    """What no-color.org asks for: a variable that is not empty, whatever its value."""
    code, shown = on_terminal(folder, *words, environment={"NO_COLOR": "1"})
    assert (code, COLOUR.search(shown)) == (0, None)


def test_a_terminal_that_may_have_colours_gets_them(folder: Path) -> None:
    assert COLOUR.search(on_terminal(folder, "summary", "last")[1])


@pytest.mark.parametrize("words", SHOWN, ids=" ".join)
def test_a_terminal_without_abilities_gets_text_alone(folder: Path, words: tuple[str, ...]) -> None:
    code, shown = on_terminal(folder, *words, environment={"TERM": "dumb"})
    assert (code, "\x1b" in shown) == (0, False)


def test_a_narrow_terminal_gets_lines_that_it_can_hold(folder: Path) -> None:
    code, shown = on_terminal(folder, "summary", "last", columns=40)
    lines = [re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", line).rstrip() for line in shown.splitlines()]
    assert code == 0
    assert max(map(len, lines)) <= 40
    text = " ".join(" ".join(lines).split())
    for words in ("Späne", "lit", "Caution", "carbon monoxide"):
        assert words in text


@pytest.mark.parametrize(("encoding", "shown"), [("latin-1", "± "), ("koi8-r", "+/- ")])
def test_in_any_encoding_a_summary_can_be_read(folder: Path, encoding: str, shown: str) -> None:
    done = in_pipe(folder, "summary", "last", PYTHONIOENCODING=encoding)
    assert (done.returncode, done.stderr) == (0, b"")
    text = done.stdout.decode(encoding)
    assert shown in text
    assert "\x1b" not in text


def test_without_a_locale_nothing_fails(folder: Path) -> None:
    environment = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    code, shown = on_terminal(folder, "summary", "last", environment=environment)
    assert (code, "Spane" in shown, "Traceback" in shown) == (0, True, False)
    done = in_pipe(folder, "summary", "last", "--json", **environment)
    assert (done.returncode, done.stderr, "Späne" in done.stdout.decode()) == (0, b"", True)


@pytest.mark.parametrize("words", [("summary", "last", "--json"), ("run", "--help")])
def test_a_reader_who_has_left_ends_a_command_without_a_word(folder: Path, words: tuple[str, ...]) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    process = subprocess.Popen([EMBERLINE, *words], cwd=folder, stdout=writing, stderr=subprocess.PIPE)
    os.close(writing)
    assert (process.communicate(timeout=50)[1], process.returncode) == (b"", 1)


@pytest.mark.parametrize("words", [("trials",), ("--version",)])
def test_output_into_a_full_disk_is_told(folder: Path, words: tuple[str, ...]) -> None:
    with open("/dev/full", "wb") as full:  # noqa: PTH123 a device
        done = subprocess.run(
            [EMBERLINE, *words], cwd=folder, stdout=full, stderr=subprocess.PIPE, timeout=50, check=False
        )
    assert done.returncode == 5
    assert done.stderr.decode() == (
        "Error: cannot write the output: No space left on device: make room there, or name another place\n"
    )
