"""deploy/raspberry-pi.md: each command is run in a folder that stands for the machine, or left out with a reason."""

import asyncio
import contextlib
import os
import re
import shlex
import shutil
import subprocess
import sys
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from broker_fixture import Broker, free_port
from daemon_fixture import DaemonProcess
from emberline.bench.bench_file import parse_bench
from emberline.config import broker_access, load_bench
from emberline.service.forwarding.server_file import load_server
from live_fixture import simulated_bench
from snippet_fixture import snippets

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "deploy" / "raspberry-pi.md"
THREATS = ROOT / "deploy" / "THREATS.md"
ELSEWHERE = {
    "apt-get update": "the lists of packages are this machine's own",
    "apt-get install": "packages are this machine's own; that Debian has them is asked instead, where it has its lists",
    "/opt/emberline/deploy/venv": "deploy/test itself begins with it, and so does whoever runs these tests",
    "useradd": "users are this machine's own; its options are checked against the program's help",
    "chown": "the folder has no users but this one",
    "udevadm control": "no rules of this machine are touched; the file is read by the tests of the unit",
    "udevadm trigger": "no devices of this machine are touched",
    "ls": "there is no board",
    "systemctl": "services are this machine's own; what they would start is started instead",
    "systemd-analyze": "asks a running system; the tests of the unit ask about the file",
    "nano": "a person types there",
}
"""Commands that are not run as they stand, by how they begin, and why."""
PLACES = ("/opt/", "/etc/", "/var/lib/")
TIMEOUT_S = 60.0


def commands() -> list[str]:
    """Return the page's commands in order."""
    return [line for snippet in snippets(PAGE) for line in snippet.lines]


def plain(command: str) -> str:
    """Return a command without what makes another user run it."""
    return re.sub(r"^sudo (-u \w+ )?", "", command)


def reason(command: str) -> str:
    """Return why a command is not run; empty where it is."""
    return next((why for begins, why in ELSEWHERE.items() if f"{plain(command)} ".startswith(f"{begins} ")), "")


@dataclass
class Machine:
    """A folder that stands for a machine's.

    Attributes:
        root: The folder.
        run: Commands that were run.
        left_out: Others, each with the reason.
    """

    root: Path
    run: list[str] = field(default_factory=list)
    left_out: dict[str, str] = field(default_factory=dict)

    def place(self, path: str) -> Path:
        """Return where a path of the machine lies."""
        return self.root / path.lstrip("/")

    def mapped(self, text: str) -> str:
        """Return a command or a file's text with the machine's paths in the folder."""
        for place in PLACES:
            text = re.sub(rf"(?<![\w.]){place}", f"{self.root}{place}", text)
        return text

    def follow(self, command: str) -> None:
        """Do what a line of the page says."""
        why = reason(command)
        if why:
            self.left_out[command] = why
            return
        # The owner of a file is nobody's but this user's.
        words = re.sub(r" -o root -g emberline ", " ", self.mapped(plain(command)))
        done = subprocess.run(
            ["bash", "-euc", words],
            cwd=self.root / "home",
            input="a password\na password\n",
            capture_output=True,
            text=True,
            timeout=TIMEOUT_S,
        )
        assert done.returncode == 0, f"{command}\n{done.stdout}{done.stderr}"
        self.run.append(command)


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    """A machine as Debian leaves it, with the project's folder in the home of its user."""
    one = Machine(tmp_path / "machine")
    for folder in (
        "etc/udev/rules.d",
        "etc/systemd/system",
        "etc/default",
        "etc/mosquitto/conf.d",
        "opt",
        "var/lib/emberline",
    ):
        one.place(folder).mkdir(parents=True)
    project = one.place("home/emberline")
    shutil.copytree(ROOT / "deploy", project / "deploy")
    # What deploy/venv makes: the environment of these tests.
    (project / ".venv").mkdir()
    (project / ".venv" / "bin").symlink_to(Path(sys.executable).parent, target_is_directory=True)
    return one


def test_every_command_that_is_left_out_has_its_reason_and_no_reason_is_idle() -> None:
    told = {why for why in map(reason, commands()) if why}
    assert set(ELSEWHERE.values()) == told


def test_packages_and_options_of_what_is_left_out_are_there() -> None:
    names = {name for line in commands() if " install -y " in line for name in line.partition(" -y ")[2].split()}
    assert names == {"python3", "python3-venv", "mosquitto", "victoria-metrics"}
    (user,) = [plain(line) for line in commands() if "useradd" in line]
    program = shutil.which("useradd", path=os.environ["PATH"] + ":/usr/sbin")
    if program is not None:
        known = subprocess.run([program, "--help"], capture_output=True, text=True, timeout=20).stdout
        assert {word for word in shlex.split(user) if word.startswith("--")} <= set(re.findall(r"--[\w-]+", known))
    asked = shutil.which("apt-cache")
    listed = (
        "" if asked is None else subprocess.run([asked, "pkgnames"], capture_output=True, text=True, timeout=50).stdout
    )
    if not listed:
        pytest.skip("no lists of Debian packages on this machine")
    assert names <= set(listed.split())


def test_every_service_that_is_managed_is_one_that_is_put_there() -> None:
    for line in commands():
        words = plain(line).split()
        if words[0] == "systemctl" and words[1] != "daemon-reload":
            assert words[-1] in ("emberline", "mosquitto", "victoria-metrics"), line
    unit = (ROOT / "deploy" / "systemd" / "emberline.service").read_text()
    assert all(f"{option} " in unit for option in ("--bench", "--data"))


@pytest.mark.parametrize("page", [PAGE, THREATS], ids=lambda page: page.name)
def test_the_pages_lead_somewhere(page: Path) -> None:
    targets = re.findall(r"\]\(([^)#]+)\)", page.read_text())
    assert [target for target in targets if not (page.parent / target).exists()] == []


def test_each_guard_on_the_page_of_threats_names_a_test_that_is_there() -> None:
    guarded = THREATS.read_text().partition("## What is guarded against")[2].partition("\n## ")[0]
    rows = [row.split(" | ") for row in guarded.splitlines() if row.startswith("| ")][1:]
    assert len(rows) > 12
    last = ""
    for row in rows:
        named = re.findall(r"`(tests/[\w/.]+)`", row[-1])
        assert named or (last and row[-1].strip(" |") == "same"), row[0]
        assert [path for path in named if not (ROOT / path).exists()] == []
        last = named[-1] if named else last


@pytest.mark.timeout(180)
async def test_who_follows_the_page_has_a_service_that_records(machine: Machine, tmp_path: Path) -> None:
    if shutil.which("mosquitto_passwd") is None:
        pytest.skip("no mosquitto_passwd on this machine: deploy/debian-packages mosquitto")
    if shutil.which("openssl") is None:
        pytest.skip("no openssl on this machine")
    # What comes once the service runs.
    afterwards = [line for line in commands() if re.search(r"emberline (link|backup|status) ", line)]
    for line in commands():
        if line not in afterwards:
            await asyncio.to_thread(machine.follow, line)
    assert len(machine.run) >= 20
    assert load_bench(machine.place("etc/emberline/bench.toml")).channels
    (of_broker,) = snippets(PAGE, "toml")
    broker = parse_bench('[[channel]]\nrole = "mass"\n' + of_broker.text).broker
    assert broker is not None
    machine.place("etc/emberline/broker-password").write_text("a password\n")
    assert broker_access(broker, machine.place("etc/emberline"), {}).password() == "a password"
    assert load_server(machine.place("etc/emberline/server.toml"), {}).url.startswith("http://127.0.0.1")
    assert machine.place("etc/emberline/pages.key").stat().st_mode & 0o777 == 0o640
    assert machine.place("etc/emberline/broker-password").stat().st_mode & 0o777 == 0o640

    unit = machine.place("etc/systemd/system/emberline.service").read_text()
    (start,) = re.findall(r"^ExecStart=(.*)$", unit, re.MULTILINE)
    words = shlex.split(machine.mapped(start))
    assert words[0] == str(machine.place("opt/emberline/.venv/bin/emberline"))
    options = words[1:]
    assert options[0] == "run"
    # Loopback, and a free port; the rest as it stands in the unit.
    options[options.index("--http") + 1] = "127.0.0.1:0"
    data = machine.place("var/lib/emberline")
    bench = machine.place("etc/emberline/bench.toml")
    async with simulated_bench(tmp_path / "board", speed=1.0) as board:
        serial = f'[serial]\nport = "{board.port}"'
        text, ports = re.subn(r'^# \[serial\]\n# port = "[^"]*"', serial, bench.read_text(), flags=re.MULTILINE)
        assert ports == 1
        bench.write_text(text)
        at = options.index("--data")
        daemon = DaemonProcess(data, *options[1:at], *options[at + 2 :])
        await daemon.start()
        try:
            await daemon.answers(60.0)
            await daemon.stores_more(0)
            health = await daemon.health()
            assert health is not None
            assert health["recording"] == "recording"
            assert health["address"].startswith("https://")
            for line in afterwards:
                await asyncio.to_thread(machine.follow, line)
        finally:
            assert await daemon.stop() == 0
    assert (data / "backup.sqlite3").stat().st_size > 0
    assert set(machine.run) | set(machine.left_out) == set(commands())


@pytest.mark.timeout(60)
async def test_who_follows_the_page_has_a_broker_with_accounts(machine: Machine, broker: Broker) -> None:
    del broker  # skips where there is no such program
    for line in commands():
        if "mosquitto" in line or line == "sudo cp -r emberline /opt/emberline":
            await asyncio.to_thread(machine.follow, line)
    conf = machine.mapped(machine.place("etc/mosquitto/conf.d/emberline.conf").read_text())
    ours = Broker(machine.root / "broker", more=re.sub(r"^(listener|max_|autosave_).*$", "", conf, flags=re.MULTILINE))
    await asyncio.to_thread(ours.start)
    try:
        names = machine.place("etc/mosquitto/emberline.accounts").read_text()
        assert re.findall(r"^(\w+):", names, re.MULTILINE) == ["emberline", "yard"]
        assert "a password" not in names
    finally:
        await asyncio.to_thread(ours.kill)


@pytest.mark.timeout(120)
async def test_who_follows_the_page_has_a_server_for_dashboards(machine: Machine) -> None:
    program = shutil.which("victoria-metrics")
    if program is None:
        pytest.skip("no victoria-metrics on this machine: deploy/debian-packages victoria-metrics")
    for line in commands():
        if "/etc/default/victoria-metrics" in line or line == "sudo cp -r emberline /opt/emberline":
            await asyncio.to_thread(machine.follow, line)
    text = machine.mapped(machine.place("etc/default/victoria-metrics").read_text())
    (args,) = re.findall(r'^ARGS="(.*)"$', text, re.MULTILINE)
    where = f"127.0.0.1:{free_port()}"
    # Loopback as it stands there, but for the port; the rest as Debian's unit would give it.
    words, ports = re.subn(r"127\.0\.0\.1:8428", where, args)
    assert ports == 1
    process = await asyncio.create_subprocess_exec(
        program, *words.split(), stdout=asyncio.subprocess.DEVNULL, stderr=asyncio.subprocess.DEVNULL
    )
    try:
        # What it says of its own settings.
        flags = ""
        async with asyncio.timeout(60.0):
            while not flags:
                assert process.returncode is None, "the server takes not all of its settings"
                with contextlib.suppress(OSError):
                    flags = await asyncio.to_thread(fetched, f"http://{where}/flags")
                await asyncio.sleep(0.05)
        assert '-dedup.minScrapeInterval="1ms"' in flags
        assert '-retentionPeriod="10y"' in flags
        assert any(machine.place("var/lib/victoria-metrics").iterdir())
    finally:
        process.terminate()
        await process.wait()


def fetched(url: str) -> str:
    with urllib.request.urlopen(url, timeout=5) as answer:  # noqa: S310 our own server
        text: str = answer.read().decode()
        return text
