"""The C codec, compiled with checks of memory and of undefined behaviour, and what it makes of bytes."""

import json
import shutil
import subprocess
from collections.abc import Iterable
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


def told(program: Path, runs: Iterable[bytes], *, as_device: bool = False) -> list[list[dict[str, Any]]]:
    """Return what the codec makes of each run of bytes on a line: errors, and messages with their fields and frames."""
    answer = subprocess.run(
        [program, *(["device"] if as_device else [])],
        input="".join(f"{run.hex()}\n" for run in runs),
        text=True,
        capture_output=True,
        timeout=LIMIT_S,
    )
    if answer.returncode:
        raise AssertionError(f"the C codec stopped with {answer.returncode}:\n{answer.stderr}")
    return [json.loads(line) for line in answer.stdout.splitlines()]


@pytest.fixture(scope="session")
def tell(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the program that says what the codec makes of bytes."""
    return build(gcc(), "tell", tmp_path_factory.mktemp("wire_c"))
