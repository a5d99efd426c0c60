"""The C codec, compiled with checks of memory and of undefined behaviour, and what it makes of bytes."""

import json
import re
import shutil
import subprocess
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

TESTS = Path(__file__).parent
SOURCES = TESTS.parent / "firmware_protocol" / "c"
PROGRAMS = TESTS / "wire_c"
STRICT = ("-std=c99", "-Wall", "-Wextra", "-Werror", "-Wconversion", "-pedantic")
CHECKED = ("-g", "-O1", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")
LIMIT_S = 50.0


def gcc() -> str:
    """Return the compiler's path, or skip the test with the reason."""
    path = shutil.which("gcc")
    if path is None:
        pytest.skip("no gcc on this machine: deploy/debian-packages gcc libc6-dev")
    return path


def build(compiler: str, program: str, folder: Path) -> Path:
    """Compile the codec and one of the programs of `tests/wire_c` into a folder, and return the program."""
    target = folder / program
    files = [PROGRAMS / f"{program}.c", PROGRAMS / "again.c", *sorted(SOURCES.glob("*.c"))]
    subprocess.run(
        [compiler, *STRICT, *CHECKED, f"-I{SOURCES}", f"-I{PROGRAMS}", *files, "-lm", "-o", target], check=True
    )
    return target


def told(program: Path, runs: Iterable[bytes], mode: str = "") -> list[list[dict[str, Any]]]:
    """Return what the codec makes of each run of bytes on a line: errors, and messages with their fields and frames.

    `device` has a device read them; `together` takes bodies of several messages apart, and ends with a frame of all.
    """
    answer = _run([program, *([mode] if mode else [])], runs)
    return [json.loads(line) for line in answer.splitlines()]


@dataclass(frozen=True, slots=True)
class Fuzzed:
    """What a fuzzer's run met: whole frames and sound messages among its inputs."""

    frames: int
    messages: int


def fuzz(program: Path, examples: Iterable[bytes], executions: int, seed: int) -> Fuzzed:
    """Feed the codec so many inputs made from examples; it stops at the first that it does wrong."""
    answer = _run([program, str(executions), str(seed)], examples)
    counted = re.fullmatch(r"(\d+) executions, (\d+) frames and (\d+) messages among them\n", answer)
    assert counted, answer
    assert int(counted[1]) == executions
    return Fuzzed(int(counted[2]), int(counted[3]))


def _run(command: list[str | Path], lines: Iterable[bytes]) -> str:
    answer = subprocess.run(
        command, input="".join(f"{line.hex()}\n" for line in lines), text=True, capture_output=True, timeout=LIMIT_S
    )
    if answer.returncode:
        raise AssertionError(f"the C codec stopped with {answer.returncode}:\n{answer.stderr}")
    return answer.stdout


@pytest.fixture(scope="session")
def tell(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the program that says what the codec makes of bytes."""
    return build(gcc(), "tell", tmp_path_factory.mktemp("wire_c"))


@pytest.fixture(scope="session")
def fuzzer(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the program that feeds the codec with damaged input."""
    return build(gcc(), "fuzz", tmp_path_factory.mktemp("wire_c"))
