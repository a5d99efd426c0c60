import os
from pathlib import Path
from types import SimpleNamespace

import pytest

from emberline.bench.bench_file import SerialPort
from emberline.links.ports import (
    PortMissingError,
    PortUnclearError,
    UsbPort,
    choose_port,
    denied_words,
    find_port,
    holders,
    usb_ports,
)

BOARDS = [
    UsbPort("/dev/ttyACM0", 0x2E8A, 0x000A, "E660"),
    UsbPort("/dev/ttyACM1", 0x2E8A, 0x000A, "E661"),
    UsbPort("/dev/ttyUSB0", 0x1A86, 0x7523, None),
    UsbPort("/dev/ttyS0", None, None, None),
]


def test_a_path_is_taken_as_it_is_and_followed_at_opening(tmp_path: Path) -> None:
    link = tmp_path / "port"
    link.symlink_to("/dev/null")
    assert find_port(SerialPort(port=str(link)), BOARDS) == str(link)


def test_a_path_that_is_not_there_says_so(tmp_path: Path) -> None:
    # A file of the name `port` must not read as if there were no port at all.
    path = str(tmp_path / "port")
    with pytest.raises(PortMissingError, match=f"^there is no port '{path}': is the device plugged in"):
        find_port(SerialPort(port=path), BOARDS)


def test_waiting_for_a_port_enters_no_name_in_pythons_table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Each look made a Path, whose parts are interned: a daemon whose cable was out for hours grew by a megabyte.
    monkeypatch.setattr("sys.intern", lambda name: pytest.fail(f"{name} is entered"))
    port = SerialPort(port=f"{tmp_path}/not-there")
    with pytest.raises(PortMissingError):
        find_port(port, BOARDS)


def test_usb_numbers_find_the_port_whatever_its_name() -> None:
    assert find_port(SerialPort(vendor_id=0x1A86, product_id=0x7523), BOARDS) == "/dev/ttyUSB0"
    one = SerialPort(vendor_id=0x2E8A, product_id=0x000A, serial_number="E661")
    assert find_port(one, BOARDS) == "/dev/ttyACM1"


def test_two_boards_of_a_kind_are_told_apart_or_refused() -> None:
    with pytest.raises(PortUnclearError, match=r"E660.*E661.*serial_number"):
        find_port(SerialPort(vendor_id=0x2E8A, product_id=0x000A), BOARDS)


def test_an_absent_board_is_named() -> None:
    with pytest.raises(PortMissingError, match="16c0:0483"):
        find_port(SerialPort(vendor_id=0x16C0, product_id=0x0483), BOARDS)


def test_the_system_can_be_asked() -> None:
    assert isinstance(usb_ports(), list)


def test_who_holds_a_port_is_named() -> None:
    master, slave = os.openpty()
    try:
        assert any(str(os.getpid()) in who for who in holders(os.ttyname(slave)))
    finally:
        os.close(master)
        os.close(slave)


def test_unreadable_processes_are_passed_over(tmp_path: Path) -> None:
    (tmp_path / "12").mkdir()
    assert holders("/dev/ttyUSB0", tmp_path) == []


def test_the_only_board_is_taken_by_the_name_that_stays(tmp_path: Path) -> None:
    (tmp_path / "usb-maker_board").symlink_to("/dev/ttyUSB7")
    board = UsbPort("/dev/ttyUSB7", 0x1A86, 0x7523, None, "USB Serial")
    path, why = choose_port([board, UsbPort("/dev/ttyS0", None, None, None)], by_id=tmp_path)
    assert path == str(tmp_path / "usb-maker_board")
    assert why == "/dev/ttyUSB7 (USB Serial): the only board on USB"


def test_of_two_boards_the_one_that_nobody_holds_is_taken(tmp_path: Path) -> None:
    held = tmp_path / "held"
    with held.open("w"):
        boards = [UsbPort(str(held), 1, 2, None), UsbPort(str(tmp_path / "free"), 1, 3, None)]
        path, why = choose_port(boards, by_id=tmp_path / "none")
    assert path == str(tmp_path / "free")
    assert "no other program" in why


def test_of_two_free_boards_a_person_must_say_which(tmp_path: Path) -> None:
    with pytest.raises(PortUnclearError, match=r"2 boards.*\n  --port /dev/ttyACM0\n  --port /dev/ttyACM1"):
        choose_port(BOARDS[:2], by_id=tmp_path)


def test_without_a_board_it_is_told_what_is_there(tmp_path: Path) -> None:
    with pytest.raises(PortMissingError, match=r"one for data.*ttyS0; name one with --port"):
        choose_port(BOARDS[3:], by_id=tmp_path)
    with pytest.raises(PortMissingError, match="no board is plugged in"):
        choose_port([], by_id=tmp_path)


def test_whoever_may_not_open_a_port_is_told_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    port = tmp_path / "port"
    port.touch()
    monkeypatch.setattr("grp.getgrgid", lambda _: SimpleNamespace(gr_name="dialout"))
    assert "sudo usermod -aG dialout $USER" in denied_words(str(port))
    monkeypatch.setattr("grp.getgrgid", lambda _: SimpleNamespace(gr_name="root"))
    assert "usermod" not in denied_words(str(port))
    assert "may not be opened" in denied_words(str(tmp_path / "none"))
