"""Which links are made from what a person has named."""

from pathlib import Path

import pytest

from emberline.bench.bench_file import Broker, SerialPort
from emberline.config import BrokerAccess
from emberline.links.mqtt import MqttLink
from emberline.links.serial import SerialLink
from emberline.service.clock import real_clock
from emberline.service.errors import ServiceError
from emberline.service.sources import NAME_FILE, Places, broker_name, make_links, session_name
from emberline.service.standing_file import StandingFile

BROKER = BrokerAccess(Broker("localhost"), Path(), {})


def links(folder: Path, places: Places) -> tuple[object, object]:
    return make_links(places, folder, "bench", real_clock(), {}, StandingFile(folder, "bench"))


def test_a_port_alone_needs_no_broker(tmp_path: Path) -> None:
    link, broker = links(tmp_path, Places(SerialPort("/dev/none")))
    assert isinstance(link, SerialLink)
    assert broker is None


def test_a_broker_alone_brings_readings_and_is_told_what_happens(tmp_path: Path) -> None:
    link, broker = links(tmp_path, Places(broker=BROKER))
    assert isinstance(link, MqttLink)
    assert broker is link


def test_with_both_readings_come_from_the_port(tmp_path: Path) -> None:
    link, broker = links(tmp_path, Places(SerialPort("/dev/none"), BROKER))
    assert isinstance(link, SerialLink)
    assert isinstance(broker, MqttLink)


def test_with_neither_there_is_nothing_to_do(tmp_path: Path) -> None:
    with pytest.raises(ServiceError, match="neither"):
        links(tmp_path, Places())


def test_the_name_before_a_broker_is_made_once_and_kept(tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    name = broker_name(tmp_path)
    assert broker_name(tmp_path) == name
    assert broker_name(tmp_path / "other") != name
    # MQTT 5, section 3.1.3.1: up to 23 letters and digits are taken by every broker.
    assert name.isalnum()
    assert len(name) <= 23


def test_a_damaged_name_is_made_anew(tmp_path: Path) -> None:
    (tmp_path / NAME_FILE).write_text("")
    assert broker_name(tmp_path).startswith("emberline")


def test_a_name_that_cannot_be_kept_is_refused(tmp_path: Path) -> None:
    (tmp_path / NAME_FILE).mkdir()
    with pytest.raises(ServiceError, match="neither read nor written"):
        broker_name(tmp_path)


def test_each_bench_comes_to_the_broker_under_a_name_of_its_own_that_stays(tmp_path: Path) -> None:
    name = broker_name(tmp_path)
    names = {session_name(name, bench) for bench in ("yard", "shed", "barn")}
    assert names == {session_name(name, bench) for bench in ("barn", "shed", "yard")}
    assert len(names) == 3
    assert session_name("emberline0123456789abcd", "yard") not in names
    # MQTT 5, section 3.1.3.1: up to 23 letters and digits are taken by every broker.
    assert all(one.isalnum() and len(one) <= 23 for one in names)
