import os
from pathlib import Path

import pytest

from emberline.bench.bench_file import SerialPort
from emberline.links.ports import PortMissingError, PortUnclearError, UsbPort, find_port, holders, usb_ports

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
    with pytest.raises(PortMissingError, match="plugged in"):
        find_port(SerialPort(port=str(tmp_path / "none")), BOARDS)


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
