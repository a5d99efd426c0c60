"""`emberline demo` as a person runs it: in a terminal and without one, to its end and interrupted."""

import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import termios
import time
from pathlib import Path

from daemon_fixture import EMBERLINE
from emberline.service.control_place import socket_path
from live_fixture import short_burn


def scenario(folder: Path) -> str:
    path = folder / "short_burn.toml"
    path.write_text(short_burn(560.0), encoding="utf-8")
    return str(path)


def processes_on(folder: Path) -> list[str]:
    """Return the commands of processes that have to do with a folder."""
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        try:
            command = (process / "cmdline").read_bytes().replace(b"\0", b" ").decode()
        except OSError:
            continue
        if str(folder) in command and process.name != str(os.getpid()):
            found.append(command)
    return found


def test_the_demo_runs_to_its_summary_in_plain_lines(tmp_path: Path) -> None:
    done = subprocess.run(
        [EMBERLINE, "demo", "--scenario", scenario(tmp_path), "--data", str(tmp_path / "data")],
        capture_output=True,
        text=True,
        timeout=55,
        cwd=tmp_path,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    said = [line for line in done.stdout.splitlines() if line.startswith("  >>")]
    for name in ("lit", "pot on", "boil", "pot off", "flameout", "summary"):
        assert any(name in line for line in said), name
    assert re.search(r"^Watch it in a browser, too: http://127\.0\.0\.1:\d+/$", done.stdout, re.MULTILINE)
    assert "carbon monoxide rises" in done.stdout
    assert "Caution" in done.stdout
    page = re.search(r"^  >>   summary: (.*)$", done.stdout, re.MULTILINE)
    assert page is not None
    assert Path(page[1]).exists()
    assert "Time to boil" in done.stdout
    assert sorted(path.name for path in tmp_path.iterdir()) == ["data", "short_burn.toml"]
    assert processes_on(tmp_path) == []


def test_the_demo_refuses_a_folder_in_use_and_an_unknown_scenario(tmp_path: Path) -> None:
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "something").touch()
    used = subprocess.run(
        [EMBERLINE, "demo", "--data", str(tmp_path / "data")], capture_output=True, text=True, timeout=30, check=False
    )
    assert (used.returncode, "is not empty" in used.stderr) == (5, True)
    unknown = subprocess.run(
        [EMBERLINE, "demo", "--scenario", "no_such", "--data", str(tmp_path / "new")],
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert unknown.returncode == 5
    assert "bench.log" in unknown.stderr


def test_in_a_terminal_the_panel_is_drawn_and_an_interrupt_ends_it_cleanly(tmp_path: Path) -> None:
    command = [EMBERLINE, "demo", "--scenario", scenario(tmp_path), "--data", str(tmp_path / "data")]
    pid, screen = pty.fork()
    if pid == 0:
        os.environ["TERM"] = "xterm-256color"
        os.execv(command[0], command)  # noqa: S606 nothing of a shell is wanted
    fcntl.ioctl(screen, termios.TIOCSWINSZ, struct.pack("HHHH", 34, 110, 0, 0))
    output, interrupted_s = b"", None
    stop_s = time.monotonic() + 50.0
    while time.monotonic() < stop_s:
        if select.select([screen], [], [], 0.1)[0]:
            try:
                piece = os.read(screen, 65536)
            except OSError:
                break
            if not piece:
                break
            output += piece
        if interrupted_s is None and b"recording" in output and b"flaming" in output:
            interrupted_s = time.monotonic()
            os.write(screen, b"\x03")
    _, status = os.waitpid(pid, 0)
    os.close(screen)
    assert interrupted_s is not None, output[-2000:]
    assert time.monotonic() - interrupted_s < 12.0
    assert os.waitstatus_to_exitcode(status) == 1
    assert b"Traceback" not in output
    assert processes_on(tmp_path) == []


def test_told_to_stop_by_the_system_the_daemon_ends_in_order(tmp_path: Path) -> None:
    daemon = subprocess.Popen([EMBERLINE, "run", "--port", str(tmp_path / "none"), "--data", str(tmp_path / "data")])
    deadline_s = time.monotonic() + 30.0
    while not socket_path(tmp_path / "data").exists():
        assert time.monotonic() < deadline_s
        time.sleep(0.02)
    daemon.send_signal(signal.SIGTERM)
    assert daemon.wait(timeout=12) == 0
