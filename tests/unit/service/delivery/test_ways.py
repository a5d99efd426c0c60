"""A real command, and real services: the package's own, against a server of this machine."""

import json
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from emberline.config import ConfigError
from emberline.service.delivery import ways as module
from emberline.service.delivery.delivery_file import SERVICES_VARIABLE, Delivery, Services
from emberline.service.delivery.message import Message
from emberline.service.delivery.ways import Command, Service, UndeliveredError, ways_of
from live_fixture import end_worker_threads, until
from receiver_fixture import Receiver, receiving

MESSAGE = Message("Alarm: The load is gone (yard)", "It fell.\nRaised at 12:00 °C.", "raised", "yard", "load_gone")
NOTE = """
import json, os, sys
about = {key: value for key, value in os.environ.items() if key.startswith("EMBERLINE_")}
with open(sys.argv[1], "w", encoding="utf-8") as file:
    json.dump({"said": sys.stdin.buffer.read().decode(), "about": about, "words": sys.argv[2:]}, file)
"""


def script(folder: Path, text: str) -> str:
    path = folder / "ring"
    path.write_text(f"#!{sys.executable}\n{text}")
    path.chmod(0o755)
    return str(path)


async def test_a_command_is_told_without_a_shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EMBERLINE_SERVER_TOKEN", "hush")
    odd = "$(touch x); 'a b'"
    await Command((script(tmp_path, NOTE), str(tmp_path / "told"), odd), 20.0).deliver(MESSAGE)
    told = json.loads((tmp_path / "told").read_text(encoding="utf-8"))
    assert told["said"] == f"{MESSAGE.title}\n{MESSAGE.text}\n"
    assert told["words"] == [odd]
    # Of this program's own variables, only what the message is about.
    assert told["about"] == {
        "EMBERLINE_ALARM_HAPPENING": "raised",
        "EMBERLINE_ALARM_BENCH": "yard",
        "EMBERLINE_ALARM_KIND": "load_gone",
        "EMBERLINE_ALARM_TITLE": MESSAGE.title,
    }


async def test_a_command_that_does_not_listen_is_told_all_the_same(tmp_path: Path) -> None:
    long = Message("t", "x" * 1_000_000, "raised", "yard", "load_gone")
    await Command((script(tmp_path, "raise SystemExit(0)"),), 20.0).deliver(long)


async def test_a_command_that_fails_says_why(tmp_path: Path) -> None:
    failing = script(tmp_path, "import sys\nprint('no   modem', file=sys.stderr)\nsys.exit(3)")
    with pytest.raises(UndeliveredError, match="the command ring ended with code 3: no modem"):
        await Command((failing,), 20.0).deliver(MESSAGE)


async def test_a_command_that_is_missing_is_named_without_its_arguments(tmp_path: Path) -> None:
    with pytest.raises(UndeliveredError) as refused:
        await Command((str(tmp_path / "nowhere"), "hush"), 20.0).deliver(MESSAGE)
    assert str(refused.value) == "the command nowhere cannot be run: No such file or directory"


async def test_a_command_that_hangs_is_ended_with_all_that_it_started(tmp_path: Path) -> None:
    text = (
        "import pathlib, subprocess, sys, time\n"
        "child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(600)'])\n"
        f"pathlib.Path({str(tmp_path / 'child')!r}).write_text(str(child.pid))\n"
        "time.sleep(600)\n"
    )
    with pytest.raises(UndeliveredError, match="took longer than 3 s and was ended"):
        await Command((script(tmp_path, text),), 3.0).deliver(MESSAGE)
    child = int((tmp_path / "child").read_text())
    await until(lambda: not alive(child), "the child's end", 20.0)


def alive(process: int) -> bool:
    """Tell whether a process runs; one that has ended and was not collected by its new parent does not."""
    try:
        state = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state != "Z"


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with receiving() as opened:
        yield opened


def services(folder: Path, *addresses: str) -> list[Service]:
    path = folder / "services"
    path.write_text("\n".join(addresses))
    path.chmod(0o600)
    return [Service(Services(path, {}), number) for number in range(1, len(addresses) + 1)]


async def test_services_are_reached(tmp_path: Path, receiver: Receiver) -> None:
    (way,) = services(tmp_path, receiver.url)
    await way.deliver(MESSAGE)
    await end_worker_threads()
    (got,) = receiver.received
    assert (got["title"], got["message"]) == (MESSAGE.title, MESSAGE.text)


async def test_a_service_that_refuses_is_told_by_its_number_alone(
    tmp_path: Path, receiver: Receiver, caplog: pytest.LogCaptureFixture
) -> None:
    receiver.status = 500
    for way in services(tmp_path, "nonsense", receiver.url):
        with pytest.raises(UndeliveredError, match=f"^service {way.number} did not take the message"):
            await way.deliver(MESSAGE)
    await end_worker_threads()
    assert len(receiver.received) == 1
    assert "hush" not in caplog.text


async def test_secrets_that_others_may_read_are_not_used(tmp_path: Path) -> None:
    (way,) = services(tmp_path, "json://127.0.0.1:9")
    (tmp_path / "services").chmod(0o644)
    with pytest.raises(UndeliveredError, match="chmod 600"):
        await way.deliver(MESSAGE)
    await end_worker_threads()


async def test_addresses_come_from_the_environment_too(receiver: Receiver, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(SERVICES_VARIABLE, f"json://127.0.0.1:9/nobody {receiver.url}")
    await Service(Services(None, os.environ), 2).deliver(MESSAGE)
    with pytest.raises(UndeliveredError, match="service 3 did not take"):
        await Service(Services(None, os.environ), 3).deliver(MESSAGE)
    await end_worker_threads()
    assert len(receiver.received) == 1


def test_the_ways_are_those_that_a_file_names(tmp_path: Path) -> None:
    both = Delivery(("/bin/ring",), 5.0, Services(None, {SERVICES_VARIABLE: "json://127.0.0.1 json://127.0.0.2"}))
    assert [way.name for way in ways_of(both, tmp_path)] == ["the command ring", "service 1", "service 2"]
    assert list(ways_of(Delivery(), tmp_path)) == []


def test_services_without_their_package_are_refused_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "find_spec", lambda _: None)
    with pytest.raises(ConfigError, match=r"pip install 'emberline\[alarms\]'"):
        ways_of(Delivery(services=Services(tmp_path / "s", {})), tmp_path)
