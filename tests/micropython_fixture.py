"""MicroPython as a WebAssembly module under Node.js, with the ESP32's sources on it."""

import contextlib
import json
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

TESTS = Path(__file__).parent
SOURCES = TESTS.parent / "firmware_protocol" / "micropython"
SCRIPTS = TESTS / "micropython"
MODULE = "node_modules/@micropython/micropython-webassembly-pyscript/micropython.mjs"
FETCH_LIMIT_S, LIMIT_S = 40.0, 50.0


class MicroPython:
    """A MicroPython that forgets everything between two scripts.

    Attributes:
        node: Node.js.
        module: MicroPython's file.
    """

    def __init__(self, node: str, module: Path) -> None:
        self.node = node
        self.module = module

    def run(self, script: str, *, data: object = None, files: dict[str, str] | None = None) -> list[Any]:
        """Run a script of `tests/micropython` and return the lines that it printed, each read as JSON.

        Args:
            script: Name of its file.
            data: What it finds in `/data.json`.
            files: More files, by their path.
        """
        answer = subprocess.run(
            [self.node, SCRIPTS / "run.mjs", self.module],
            input=_request(script, {"/data.json": json.dumps(data), **(files or {})}),
            text=True,
            capture_output=True,
            timeout=LIMIT_S,
        )
        if answer.returncode:
            raise AssertionError(f"{script} stopped with {answer.returncode}:\n{answer.stdout[-2000:]}{answer.stderr}")
        return [json.loads(line) for line in answer.stdout.splitlines()]

    @contextlib.contextmanager
    def talk(self, script: str) -> Iterator[Callable[[object], Any]]:
        """Start a script that answers each line of JSON with another; give the function that asks it."""
        with subprocess.Popen(
            [self.node, SCRIPTS / "run.mjs", self.module], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        ) as process:
            assert process.stdin
            assert process.stdout
            stdin, stdout = process.stdin, process.stdout

            def ask(question: object) -> Any:
                stdin.write(json.dumps(question) + "\n")
                stdin.flush()
                return json.loads(stdout.readline())

            stdin.write(_request(script, {}))
            yield ask
            stdin.close()
            assert process.wait(LIMIT_S) == 0


def _request(script: str, files: dict[str, str]) -> str:
    sources = {f"/board/{path.name}": path.read_text() for path in SOURCES.glob("*.py") if path.name != "main.py"}
    return json.dumps({"files": sources | files, "script": (SCRIPTS / script).read_text()}) + "\n"


@pytest.fixture(scope="session")
def micropython(tmp_path_factory: pytest.TempPathFactory) -> MicroPython:
    """Return a MicroPython, fetched by npm into a folder of its own; skip where that cannot be had, with the reason."""
    node, npm = shutil.which("node"), shutil.which("npm")
    if node is None or npm is None:
        pytest.skip("no Node.js with npm on this machine, which MicroPython's WebAssembly module needs")
    folder = tmp_path_factory.mktemp("micropython")
    for name in ("package.json", "package-lock.json"):
        shutil.copy(SCRIPTS / name, folder)
    try:
        fetched = subprocess.run(
            [npm, "ci", "--ignore-scripts", "--no-audit", "--no-fund", "--prefer-offline"],
            cwd=folder,
            capture_output=True,
            text=True,
            timeout=FETCH_LIMIT_S,
        )
    except subprocess.TimeoutExpired:
        pytest.skip(f"npm did not fetch MicroPython within {FETCH_LIMIT_S:.0f} s")
    if fetched.returncode:
        pytest.skip(f"npm could not fetch MicroPython: {fetched.stderr.strip().splitlines()[-1:]}")
    return MicroPython(node, folder / MODULE)
