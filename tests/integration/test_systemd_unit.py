"""The unit for systemd and the rules for udev: read by their own checkers, and the command by the program itself."""

import json
import re
import shutil
import subprocess
from fnmatch import fnmatch
from pathlib import Path

import pytest

from daemon_fixture import EMBERLINE
from emberline.service.health_loop import PROOF_LIMIT_S
from emberline.service.last_resort import END_LIMIT_S

UNIT = Path(__file__).parents[2] / "deploy" / "systemd" / "emberline.service"
RULES = UNIT.parents[1] / "udev" / "70-emberline.rules"
MOST_EXPOSED = 1.6
"""Of 10, as systemd counts; what is left is listed in the unit, each with its reason."""
LEFT = {
    *(
        "PrivateNetwork=",
        "RestrictAddressFamilies=~AF_UNIX",
        "RestrictAddressFamilies=~AF_(INET|INET6)",
        "IPAddressDeny=",
    ),
    *("PrivateDevices=", "PrivateUsers=", "DeviceAllow=", "SupplementaryGroups="),
    *("SystemCallFilter=~@resources", "RootDirectory=/RootImage="),
}
"""Exposures that stay (names of systemd 252 and later)."""


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


def test_it_leaves_no_more_open_than_it_needs() -> None:
    checker = shutil.which("systemd-analyze")
    if checker is None:
        pytest.skip("no systemd on this machine")
    words = [checker, "security", "--offline=true", "--no-pager"]
    told = subprocess.run([*words, str(UNIT)], capture_output=True, text=True, timeout=50)
    score = re.search(r"exposure level for emberline.service: ([\d.]+)", told.stdout)
    assert score is not None, told.stdout + told.stderr
    print(f"systemd-analyze security: {score[1]} of 10")  # noqa: T201 whoever runs this wants to see it
    assert float(score[1]) <= MOST_EXPOSED
    listed = subprocess.run([*words, "--json=short", str(UNIT)], capture_output=True, text=True, timeout=50)
    exposed = {one["json_field"]: one["name"] for one in json.loads(listed.stdout) if float(one["exposure"] or 0) > 0}
    assert set(exposed.values()) - LEFT == set()


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


# udev

_LINE = re.compile(r'(\w+(?:\{[^}]+\})?)(==|!=|\+=|:=|-=|=)"([^"\\]*)"')
COMPARED = {"ACTION", "SUBSYSTEM", "ENV"}
SET = {"GOTO": "=", "LABEL": "=", "GROUP": "=", "MODE": "=", "SYMLINK": "+=", "ENV": "="}
"""Keys that the rules use, with the operators that udev(7) has for them."""


def rules(text: str) -> list[list[tuple[str, str, str]]]:
    """Return the keys of each rule, with operators and values; a line that is none fails."""
    found = []
    for line in text.splitlines():
        if not line or line.startswith("#"):
            continue
        parts = line.split(", ")
        matches = [_LINE.fullmatch(part) for part in parts]
        assert all(matches), line
        found.append([(one[1], one[2], one[3]) for one in matches if one])
    return found


def with_what_is_yours() -> str:
    """Return the rules with the lines that a person fills in."""
    return re.sub(r"^# (?=ENV)", "", RULES.read_text(), flags=re.MULTILINE)


def test_udev_takes_every_rule(tmp_path: Path) -> None:
    (tmp_path / RULES.name).write_text(with_what_is_yours())
    for rule in rules(with_what_is_yours()):
        for key, operator, _ in rule:
            name = key.partition("{")[0]
            assert name in COMPARED if operator in ("==", "!=") else SET[name] == operator, rule
    udevadm = shutil.which("udevadm")
    if udevadm is None or "verify" not in subprocess.run([udevadm, "--help"], capture_output=True, text=True).stdout:
        pytest.skip("no udevadm that verifies on this machine (udev 254 and later); the rules were parsed")
    done = subprocess.run([udevadm, "verify", str(tmp_path / RULES.name)], capture_output=True, text=True, timeout=50)
    assert done.returncode == 0, done.stderr


def test_every_way_out_of_the_rules_leads_to_their_end() -> None:
    keys = [one for rule in rules(RULES.read_text()) for one in rule]
    labels = {value for key, _, value in keys if key == "LABEL"}
    assert {value for key, _, value in keys if key == "GOTO"} == labels == {"emberline_end"}
    assert keys[-1][0] == "LABEL"


def test_the_service_may_open_what_the_rules_name(settings: dict[str, str]) -> None:
    (group,) = {value for rule in rules(RULES.read_text()) for key, _, value in rule if key == "GROUP"}
    assert group == settings["SupplementaryGroups"]
    allowed = re.findall(r"^DeviceAllow=char-(\w+) rw$", UNIT.read_text(), re.MULTILINE)
    assert {"ttyACM", "ttyUSB"} <= set(allowed)


def test_a_board_has_a_name_that_stays_and_a_modem_has_none_of_a_bench() -> None:
    # Rules in order, as udev(7) has them: a rule whose comparisons all hold is done; GOTO leaves the rest out.
    def names(board: dict[str, str]) -> set[str]:
        links: set[str] = set()
        leave = ""
        for rule in rules(with_what_is_yours()):
            if leave and ("LABEL", "=", leave) not in rule:
                continue
            leave = ""
            held = [
                any(fnmatch(board.get(key, ""), choice) for choice in value.split("|")) is (operator == "==")
                for key, operator, value in rule
                if operator in ("==", "!=")
            ]
            if all(held):
                leave = next((value for key, _, value in rule if key == "GOTO"), "")
                links |= {
                    value.replace("$env{ID_SERIAL_SHORT}", board.get("ENV{ID_SERIAL_SHORT}", ""))
                    for key, _, value in rule
                    if key == "SYMLINK"
                }
        return links

    board = {"ACTION": "add", "SUBSYSTEM": "tty", "ENV{ID_BUS}": "usb", "ENV{ID_SERIAL_SHORT}": "A10K2M3X"}
    assert names(board) == {"emberline-A10K2M3X", "emberline-yard"}
    assert names({**board, "ENV{ID_SERIAL_SHORT}": "", "ENV{ID_PATH}": "platform-x-usb-0:1.2:1.0"}) == {
        "emberline-shed"
    }
    for other in ({"ACTION": "remove"}, {"SUBSYSTEM": "block"}, {"ENV{ID_BUS}": "pci"}):
        assert names({**board, **other}) == set()
