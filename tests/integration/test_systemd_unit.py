"""The unit file for systemd: read by systemd's own checker, its command by the program's own parser."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from emberline.service.health_loop import PROOF_LIMIT_S
from emberline.service.last_resort import END_LIMIT_S

UNIT = Path(__file__).parents[2] / "deploy" / "systemd" / "emberline.service"
EMBERLINE = str(Path(sys.executable).with_name("emberline"))


@pytest.fixture
def settings() -> dict[str, str]:
    lines = UNIT.read_text(encoding="utf-8").splitlines()
    return dict(line.split("=", 1) for line in lines if "=" in line and not line.startswith("#"))


def test_systemd_takes_every_line(tmp_path: Path, settings: dict[str, str]) -> None:
    checker = shutil.which("systemd-analyze")
    if checker is None:
        pytest.skip("no systemd on this machine")
    here = tmp_path / UNIT.name
    # It also looks whether the program exists.
    here.write_text(UNIT.read_text(encoding="utf-8").replace(settings["ExecStart"].split()[0], EMBERLINE))
    done = subprocess.run([checker, "verify", "--man=no", str(here)], capture_output=True, text=True, timeout=50)
    assert (done.returncode, done.stderr) == (0, "")


def test_the_program_takes_its_command(settings: dict[str, str]) -> None:
    words = settings["ExecStart"].split()[1:]
    done = subprocess.run([EMBERLINE, *words], capture_output=True, text=True, timeout=50)
    # Nobody has put the bench file there; an unknown option would be told first.
    assert done.returncode == 2
    assert "bench.toml" in done.stderr
    assert "No such option" not in done.stderr


def test_its_limits_leave_the_program_time(settings: dict[str, str]) -> None:
    assert float(settings["TimeoutStopSec"]) >= 1.5 * END_LIMIT_S
    assert float(settings["WatchdogSec"]) >= 2.0 * PROOF_LIMIT_S
