"""The worked examples of how to add something: each is made in a copy of the project, and its tests are run there."""

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted((ROOT / "host" / "worked_examples").glob("*.md"))
PARTS = ("host", "tests", "deploy", "simulators", "firmware_protocol", "README.md", "DEVELOPERS.md", "pyproject.toml")
NOT_COPIED = shutil.ignore_patterns("__pycache__", "node_modules", "earlier_stores", "vectors", "*.so", "*.o")


def blocks(text: str, language: str) -> list[str]:
    """Return the fenced blocks of a language."""
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.MULTILINE | re.DOTALL)


def files_of(change: str) -> dict[str, list[str]]:
    """Return the pieces of a change by file: `--- FILE` begins one, `@@` parts two pieces."""
    files: dict[str, list[str]] = {}
    for line in change.splitlines(keepends=True):
        if line.startswith("--- "):
            pieces = files.setdefault(line.split()[1], [""])
        elif line.startswith("@@"):
            pieces.append("")
        else:
            pieces[-1] += line
    return files


def changed(text: str, piece: str) -> str:
    """Return a file's text with one piece of a change made in it, where its old lines stand once and no more."""
    lines = piece.splitlines(keepends=True)
    old = "".join(line[1:] for line in lines if line[0] in " -")
    new = "".join(line[1:] for line in lines if line[0] in " +")
    assert text.count(old) == 1, f"these lines stand {text.count(old)} times:\n{old}"
    return text.replace(old, new)


def make(example: str, root: Path) -> list[str]:
    """Make all that an example says in a copy of the project; return the Python files that it writes or changes."""
    touched = []
    for change in blocks(example, "diff"):
        for name, pieces in files_of(change).items():
            touched.append(name)
            path = root / name
            for piece in pieces:
                path.write_text(changed(path.read_text(), piece))
    for text in blocks(example, "python"):
        first, _, rest = text.partition("\n")
        name = first.removeprefix("# ")
        touched.append(name)
        assert not (root / name).exists()
        (root / name).write_text(rest)
    return [name for name in touched if name.endswith(".py")]


def test_a_piece_of_a_change_is_made_where_its_lines_stand_once() -> None:
    assert changed("a\nb\nc\n", " a\n-b\n+d\n+e\n") == "a\nd\ne\nc\n"
    with pytest.raises(AssertionError, match="stand 2 times"):
        changed("a\nb\na\n", " a\n+b\n")
    assert files_of("--- x\n a\n@@\n-b\n--- y\n+c\n") == {"x": [" a\n", "-b\n"], "y": ["+c\n"]}


@pytest.mark.timeout(180)
@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_an_example_can_be_followed_to_green_tests(path: Path, tmp_path: Path) -> None:
    for part in PARTS:
        if (ROOT / part).is_dir():
            shutil.copytree(ROOT / part, tmp_path / part, ignore=NOT_COPIED)
        else:
            shutil.copy(ROOT / part, tmp_path / part)
    example = path.read_text()
    touched = make(example, tmp_path)
    (shown,) = blocks(example, "sh")
    tests = [word for line in shown.splitlines() for word in shlex.split(line)[1:]]
    environment = os.environ | {"PYTHONPATH": str(tmp_path / "host"), "PYTHONDONTWRITEBYTECODE": "1"}
    for module, *arguments in (
        ("ruff", "check", "--no-cache", *touched),
        ("ruff", "format", "--check", "--no-cache", *touched),
        # Hypothesis is read only as the run ends, and Python 3.11 now and then fails at that, deep in calls.
        ("pytest", "-q", "-p", "no:cacheprovider", "-p", "no:hypothesispytest", *tests),
    ):
        command = [sys.executable, "-m", module, *arguments]
        done = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True)
        assert done.returncode == 0, done.stdout + done.stderr
