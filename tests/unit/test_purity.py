"""The pure stations reach for nothing but their arguments: what an import contract cannot see, the syntax shows.

The import contracts in pyproject.toml keep clocks, I/O, threads, logs and chance out by module. What is left are
builtins and the parts of allowed modules that hold one of these.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PURE = ("host/emberline/bench", "host/emberline/curves", "host/emberline/heat", "host/emberline/trials",
        "firmware_protocol/emberline_wire")  # fmt: skip
BUILTINS = {"open", "print", "input", "exec", "eval", "compile", "__import__", "breakpoint", "globals"}
CLOCKS = {"now", "utcnow", "today"}
MODULES = {
    "numpy.random",
    "scipy.io",
    "scipy.datasets",
    "importlib.resources",
    "io.open",
    "io.FileIO",
    "builtins",
    "warnings",
}
NUMPY_FILES = {"load", "save", "savez", "savez_compressed", "loadtxt", "savetxt", "genfromtxt", "fromfile", "memmap"}


def impurities(source: str) -> Iterator[str]:
    """Yield what in a module's source reaches outside, with its line."""
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.Name(id=name) if name in BUILTINS:
                yield f"line {node.lineno}: {name}"
            case ast.Attribute(value=ast.Name(id="np" | "numpy"), attr=name) if name in NUMPY_FILES | {"random"}:
                yield f"line {node.lineno}: numpy.{name}"
            case ast.Attribute(value=ast.Name(id="io"), attr="open" | "FileIO" as name):
                yield f"line {node.lineno}: io.{name}"
            case ast.Attribute(attr=name) if name in CLOCKS or name == "tofile":
                yield f"line {node.lineno}: .{name}"
            case ast.Import(names=names):
                yield from (f"line {node.lineno}: {name.name}" for name in names if _is_banned(name.name))
            case ast.ImportFrom(module=str(module), names=names):
                imported = [module, *(f"{module}.{name.name}" for name in names)]
                yield from (f"line {node.lineno}: {name}" for name in imported if _is_banned(name))


def _is_banned(module: str) -> bool:
    return any(module == banned or module.startswith(f"{banned}.") for banned in MODULES)


def pure_modules() -> list[Path]:
    """Return every module of the pure packages."""
    return sorted(path for folder in PURE for path in (ROOT / folder).rglob("*.py"))


@pytest.mark.parametrize("path", pure_modules(), ids=lambda path: str(path.relative_to(ROOT)))
def test_a_pure_module_reaches_for_nothing_outside(path: Path) -> None:
    assert list(impurities(path.read_text())) == []


@pytest.mark.parametrize("folder", PURE)
def test_every_pure_package_is_looked_at(folder: str) -> None:
    assert any(path.is_relative_to(ROOT / folder) for path in pure_modules())


@pytest.mark.parametrize(
    "source",
    [
        "open('burn.csv')",
        "print('boil')",
        "read = open",
        "input()",
        "import numpy.random",
        "from numpy import random",
        "from numpy.random import default_rng",
        "import numpy as np\nnp.random.default_rng(1)",
        "import numpy\nnumpy.loadtxt('burn.csv')",
        "from datetime import datetime, UTC\ndatetime.now(UTC)",
        "import datetime as dt\ndt.date.today()",
        "import io\nio.FileIO('burn.csv')",
        "from io import open as read",
        "from scipy import datasets",
        "array.tofile(file)",
    ],
)
def test_an_impure_module_is_caught(source: str) -> None:
    assert len(list(impurities(source))) > 0


@pytest.mark.parametrize(
    "source",
    [
        "def opened(): ...",
        "import numpy as np\nnp.median(x)",
        "from datetime import datetime, UTC\ndatetime.fromtimestamp(t_s, UTC)",
        "from scipy import signal",
        "import io\nio.BytesIO(frame)",
        "text = 'print nothing, open nothing'",
    ],
)
def test_a_pure_module_is_left_alone(source: str) -> None:
    assert list(impurities(source)) == []
