"""A board examined; whole examinations on a port are in tests/system/test_doctor.py."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from emberline.app import examining
from emberline.app.examining import Board, Examination, choose_board
from emberline.app.output import OutputError, refuse_existing, write_new
from emberline.bench.bench_file import SerialPort, parse_bench
from emberline.bench.calibration import Linear
from emberline.bench.channels import Role, default_channel
from emberline.bench.text_lines import TextLines
from emberline.config import ConfigError
from emberline.curves.checkup.signal import Nature, Signal
from emberline.links.errors import LinkError
from emberline.links.line_columns import LinesHeard
from emberline.links.ports import PortMissingError
from emberline.links.text_line import Values, read_text_line

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


class Heard:
    """A listener that has heard what a test says."""

    def __init__(self, signals: dict[str, Signal] | None = None, lines: LinesHeard | None = None) -> None:
        self.hello = None if lines is not None else SimpleNamespace(device="yard", firmware="2.1")
        self.baud, self.tried = 115_200, [9_600]
        self.forgotten = 0
        self._signals, self._lines = signals or {}, lines

    def hear(self, seconds: float, told: object) -> None: ...

    def forget(self) -> None:
        self.forgotten += 1

    def signals(self) -> dict[str, Signal]:
        return self._signals

    def lines(self) -> LinesHeard | None:
        return self._lines


def examination(
    monkeypatch: pytest.MonkeyPatch, heard: Heard, columns: dict[str, str] | None = None, board: Board | None = None
) -> Examination:
    monkeypatch.setattr(examining, "Listener", lambda _: heard)
    return Examination(board or Board(SerialPort("/dev/x"), ""), columns or {})


def signal(name: str, nature: Nature, unit: str) -> Signal:
    dice = np.random.default_rng(1)
    return Signal(
        name, nature, np.arange(100) / 10.0, np.rint(90_000.0 + dice.normal(0.0, 9.0, 100)), 0.001, 0.0, unit, True
    )


FRAMES = {
    one.name: one
    for one in (
        signal("tc1", Nature.THERMOCOUPLE, "c"),
        signal("flame", Nature.THERMOCOUPLE, "c"),
        signal("cell", Nature.BRIDGE, "g"),
        signal("p", Nature.OTHER, "pa"),
    )
}


def test_channels_of_frames_have_their_roles_by_name_else_by_sensor(monkeypatch: pytest.MonkeyPatch) -> None:
    found = examination(monkeypatch, Heard(FRAMES))
    report = found.listen(5.0)
    assert {one.name: one.role for one in report.channels} == {
        "tc1": Role.WATER,
        "flame": Role.FLAME,
        "cell": Role.MASS,
        "p": None,
    }
    assert "frames from yard (firmware 2.1), at 115,200 baud" in report.spoken
    assert "At 9,600 baud what comes makes no sense: that is the wrong speed." in report.remarks
    bench = parse_bench(found.proposal("shed 1"))
    assert (bench.id, bench.serial) == ("shed-1", SerialPort("/dev/x", device="yard", baud=115_200))
    assert {channel.role: channel.source for channel in bench.channels} == {
        Role.WATER: "tc1",
        Role.FLAME: None,
        Role.MASS: "cell",
    }


def test_a_persons_word_counts_and_must_fit(monkeypatch: pytest.MonkeyPatch) -> None:
    report = examination(monkeypatch, Heard(FRAMES), {"pressure": "p"}).listen(5.0)
    assert [one.name for one in report.channels if one.role is not None] == ["p"]
    for wrong in ({"water": "tc9"}, {"t_s": "tc1"}):
        with pytest.raises(LinkError, match="the device has the channels tc1, flame, cell, p"):
            examination(monkeypatch, Heard(FRAMES), wrong).listen(5.0)


def test_a_bench_file_calibrates_what_is_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    channel = replace(default_channel(Role.MASS), source="cell", calibration=Linear(48_000.0, 420.0))
    board = Board(SerialPort("/dev/x"), "", (channel,))
    report = examination(monkeypatch, Heard(FRAMES), None, board).listen(5.0)
    cell = next(one for one in report.channels if one.role is Role.MASS)
    assert np.median(cell.signal.value) == pytest.approx(100.0, abs=0.1)


def test_lines_are_told_with_all_that_is_doubtful(monkeypatch: pytest.MonkeyPatch) -> None:
    texts = [f"A: {70 + 0.1 * k:.1f} F, B: {900 + k % 2} g, D: 3000" for k in range(12)]
    lines = [(read_text_line(text.encode()), 0.5 * k) for k, text in enumerate(texts)]
    values = tuple((found, at_s) for found, at_s in lines if isinstance(found, Values))
    heard = Heard(lines=LinesHeard((*values, (Values({"1": 5.0}, columns=1), 9.0)), set_aside=2, example=b"\xffA"))
    found = examination(monkeypatch, heard)
    report = found.listen(5.0)
    told = " ".join(report.remarks)
    assert "have no time" in told
    assert "Nobody uses D." in told
    assert "1 of 13 lines have another shape" in told
    assert "2 lines could not be read" in told
    assert "converted from °F" in told
    assert parse_bench(found.proposal("bench")).serial == SerialPort(
        "/dev/x", baud=115_200, lines=TextLines(("A", "B"))
    )
    answer = found.touch("A", 3.0)
    assert (heard.forgotten, answer.channel) == (1, "A")


def test_a_board_of_which_no_role_is_known_has_no_bench_file(monkeypatch: pytest.MonkeyPatch) -> None:
    found = examination(monkeypatch, Heard({"p": FRAMES["p"]}))
    found.listen(5.0)
    with pytest.raises(LinkError, match="--column water=NAME"):
        found.proposal("bench")
