"""A board of the reference firmware on an emulated core, in step with a test: time goes on only as the test says."""

import json
import os
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

import pytest

from emberline_wire import FrameDecoder, Message, decode_message, encode_frame

ROOT = Path(__file__).parents[1]
FIRMWARE = ROOT / "firmware_protocol" / "firmware"
EMULATOR = ROOT / "simulators" / "avr"
PACKAGES = "make gcc libc6-dev pkg-config gcc-avr avr-libc libsimavr-dev libelf-dev"
START_LIMIT_S = 20.0

WEIGHED_EVERY_US = 100_000
"""A bridge converter at its slow rate."""

Happening = Callable[[float], float]
"""What a converter sees at a time, seconds."""


def made(folder: Path, target: Path, **settings: object) -> Path:
    """Build what a Makefile describes into a folder, and return the file; skips the test where a tool is missing."""
    tools = ("make", "cc", "pkg-config", "avr-gcc", "avr-size")
    missing = [tool for tool in tools if shutil.which(tool) is None]
    if missing or not Path("/usr/include/simavr/sim_avr.h").exists():
        pytest.skip(f"no {' '.join(missing) or 'simavr'} on this machine: deploy/debian-packages {PACKAGES}")
    words = [f"{key}={value}" for key, value in {"BUILD": folder, **settings}.items()]
    done = subprocess.run(
        ["make", "-C", target.parent, *words, folder / target.name], capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return folder / target.name


@dataclass(frozen=True)
class Parts:
    """What an emulated board is made of.

    Attributes:
        emulator: The program that emulates.
        folder: Where firmwares are built.
    """

    emulator: Path
    folder: Path

    def firmware(self, **settings: object) -> Path:
        """Build a firmware, once for all tests that want the same."""
        name = "-".join(f"{key}_{value}" for key, value in sorted(settings.items())) or "default"
        return made(self.folder / name, FIRMWARE / "bench.elf", **settings)


@pytest.fixture(scope="session")
def parts(tmp_path_factory: pytest.TempPathFactory) -> Parts:
    folder = tmp_path_factory.mktemp("emulated")
    return Parts(made(folder / "emulator", EMULATOR / "emulated_bench"), folder)


@dataclass
class Board:
    """An emulated board whose time goes on in steps.

    Attributes:
        folder: Where its port and its tally are.
        options: Of the emulator.
        sees: What converters see: mass in counts, the rest in degrees.
        heard: Whatever it sent, decoded, in order.
        now_s: Its time.
    """

    folder: Path
    command: list[str]
    sees: dict[str, Happening] = field(default_factory=dict)
    heard: list[Message] = field(default_factory=list)
    now_us: int = 0

    def __post_init__(self) -> None:
        port = self.folder / "port"
        command = [*self.command, "--port", str(port), "--tally", str(self.folder / "tally.json")]
        self.decoder = FrameDecoder()
        self._ended = False
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        deadline_s = time.monotonic() + START_LIMIT_S
        while not port.exists():
            assert self._process.poll() is None, "the emulator has ended"
            assert time.monotonic() < deadline_s, "the emulator has no port"
        self._line = os.open(port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)

    @property
    def _in(self) -> IO[str]:
        assert self._process.stdin is not None
        return self._process.stdin

    def happens(self, *what: object) -> None:
        """Have something happen now."""
        self._in.write(f"{self.now_us} {' '.join(map(str, what))}\n")

    def run(self, seconds: float) -> bytes:
        """Let time go on, and return what came on the line meanwhile."""
        end_us = self.now_us + round(seconds * 1e6)
        while self.now_us < end_us:
            self.now_us = min(end_us, (self.now_us // WEIGHED_EVERY_US + 1) * WEIGHED_EVERY_US)
            for name, value in self.sees.items():
                if name != "mass" or self.now_us % WEIGHED_EVERY_US == 0:
                    self.happens(name, value(self.now_us * 1e-6))
        self.happens("sync")
        self._in.flush()
        assert self._process.stdout is not None
        assert self._process.stdout.readline() == f"{self.now_us}\n", "the emulator has ended"
        return self._read()

    def listen(self, seconds: float) -> list[Message]:
        """Let time go on, and return the messages that came meanwhile."""
        came = [decode_message(body) for body in self.decoder.feed(self.run(seconds))]
        self.heard += came
        return came

    def send(self, *messages: Message) -> None:
        """Put messages on its line."""
        self.send_bytes(b"".join(encode_frame(message.to_bytes()) for message in messages))

    def send_bytes(self, data: bytes) -> None:
        if data:
            assert os.write(self._line, data) == len(data)

    def end(self) -> Mapping[str, Any]:
        """Switch it off, and return its tally."""
        if not self._ended:
            self._ended = True
            os.close(self._line)
            self._process.communicate(timeout=60.0)
        tally: Mapping[str, Any] = json.loads((self.folder / "tally.json").read_text())
        return tally

    def _read(self) -> bytes:
        data = b""
        while True:
            try:
                data += os.read(self._line, 65536)
            except BlockingIOError:
                return data


Boards = Callable[..., Board]


@pytest.fixture
def boards(parts: Parts, tmp_path: Path) -> Iterator[Boards]:
    """Return what switches boards on: with options of the emulator as words, settings of the firmware by name."""
    made_boards: list[Board] = []

    def switch_on(*options: str, **settings: object) -> Board:
        folder = tmp_path / f"board{len(made_boards)}"
        folder.mkdir()
        chips = [f"--{probe}={settings.get(f'{probe.upper()}_CHIP', 31855)}" for probe in ("water", "flame")]
        command = [str(parts.emulator), "--firmware", str(parts.firmware(**settings)), "--linger=0", *chips, *options]
        board = Board(folder, command, {"mass": lambda _: 84_213.0, "water": lambda _: 20.0, "flame": lambda _: 20.0})
        made_boards.append(board)
        return board

    yield switch_on
    for board in made_boards:
        board.end()
