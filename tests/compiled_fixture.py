"""The compiled steps of reading the wire, built anew, and tests that go through them as well as through Python's."""

import importlib.util
import subprocess
import sysconfig
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from emberline_wire import compiled
from wire_c_fixture import STRICT, gcc

SOURCE = Path(__file__).parents[1] / "firmware_protocol" / "python" / "compiled.c"


@pytest.fixture(scope="session")
def compiled_steps(tmp_path_factory: pytest.TempPathFactory) -> ModuleType:
    """Return the module of the compiled steps."""
    headers = sysconfig.get_path("include")
    if not Path(headers, "Python.h").exists():
        pytest.skip("no Python.h on this machine: deploy/debian-packages python3-dev")
    target = tmp_path_factory.mktemp("compiled") / "_compiled.abi3.so"
    # The table of functions that Python asks for is what the pedants mind: it casts between kinds of pointers.
    strict = [word for word in STRICT if word != "-pedantic"]
    subprocess.run([gcc(), *strict, "-O2", "-fPIC", "-shared", f"-I{headers}", SOURCE, "-o", target], check=True)
    spec = importlib.util.spec_from_file_location("emberline_wire._compiled", target)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(params=["compiled", "in Python"])
def both_ways(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have a test read the wire once by the compiled steps and once without."""
    if request.param == "compiled":
        steps = request.getfixturevalue("compiled_steps")
        use(monkeypatch, steps.unstuff, steps.read_samples)
    else:
        use(monkeypatch, nothing, nothing)


def use(patch: pytest.MonkeyPatch, unstuff: Callable[[bytes], object], read: Callable[[bytes], object]) -> None:
    """Have the wire read by these steps."""
    patch.setattr(compiled, "unstuff", unstuff)
    patch.setattr(compiled, "read_samples", read)


def nothing(_: bytes) -> None:
    """Do what a step does that is not compiled."""
