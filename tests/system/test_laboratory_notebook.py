"""The notebook and the example of the documentation run as they stand, on a laboratory's store."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from lab_fixture import fill

DOCS = Path(__file__).parents[2] / "host" / "docs"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder as the documentation speaks of it: what was varied is the number of holes."""
    place = tmp_path_factory.mktemp("laboratory")
    fill(place, "holes", ("8", "12")).rename(place / "emberline-data")
    return place


def run(folder: Path, *arguments: str | Path) -> str:
    environment = {key: value for key, value in os.environ.items() if key != "EMBERLINE_DATA"}
    done = subprocess.run(
        [sys.executable, "-W", "error", *arguments],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_notebook_runs_from_its_first_cell_to_its_last(folder: Path) -> None:
    told = run(folder, DOCS / "how-to" / "laboratory_notebook.py")
    assert re.search(r"^12 +1 ", told, re.MULTILINE)
    assert "points for each point of moisture" in told
    for name in ("burn.pdf", "holes.pdf", "compared.pdf"):
        assert (folder / name).read_bytes().startswith(b"%PDF")


def test_the_example_of_the_reference_runs(folder: Path) -> None:
    page = (DOCS / "reference" / "python.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"^```python\n(.*?)^```", page, re.MULTILINE | re.DOTALL)
    run(folder, "-c", example + "assert wetter.value('burn_time') == trial.value('burn_time')\n")
