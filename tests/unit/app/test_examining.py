"""A board examined; whole examinations on a port are in tests/system/test_doctor.py."""

from pathlib import Path

import pytest

from emberline.app.examining import Board, Examination, choose_board
from emberline.app.output import OutputError, refuse_existing, write_new
from emberline.bench.bench_file import SerialPort
from emberline.config import ConfigError
from emberline.links.errors import LinkError
from emberline.links.ports import PortMissingError

BENCH = """
[[channel]]
role = "mass"
source = "2"
[channel.line]
zero_counts = 100.0
counts_per_unit = 420.0
[serial]
port = "/dev/null"
baud = 9600
[serial.lines]
"""


def test_a_named_port_is_made_a_path_that_holds_from_any_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "port").touch()
    monkeypatch.chdir(tmp_path)
    assert choose_board("port", None) == Board(SerialPort(str(tmp_path / "port")), "port, as you say")
    with pytest.raises(PortMissingError, match="plugged in"):
        choose_board("none", None)


def test_a_bench_file_names_its_board_and_what_its_channels_are(tmp_path: Path) -> None:
    file = tmp_path / "bench.toml"
    file.write_text(BENCH)
    board = choose_board(None, file)
    assert (board.port.port, board.port.baud) == ("/dev/null", 9600)
    assert [channel.source for channel in board.channels] == ["2"]
    file.write_text(BENCH.partition("[serial]")[0])
    with pytest.raises(ConfigError, match="--port"):
        choose_board(None, file)


def test_a_column_that_is_no_role_is_told_before_the_port_is_opened() -> None:
    with pytest.raises(LinkError, match="not 'heat'"):
        Examination(Board(SerialPort("/dev/none"), ""), {"heat": "2"})


def test_a_file_that_exists_is_left_alone(tmp_path: Path) -> None:
    target = tmp_path / "bench.toml"
    refuse_existing(target)
    write_new(target, "mine")
    with pytest.raises(OutputError, match="left alone"):
        refuse_existing(target)
    with pytest.raises(OutputError, match="left alone"):
        write_new(target, "yours")
    assert target.read_text() == "mine"
