import sqlite3
from importlib.metadata import version
from pathlib import Path

import pytest

from emberline import __version__
from emberline.cli.versions import version_lines


@pytest.fixture
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv("EMBERLINE_DATA", raising=False)
    return tmp_path


def test_it_names_all_that_a_report_of_a_fault_needs(elsewhere: Path) -> None:
    first, *others = version_lines()
    told = "\n".join(others)
    assert first == f"emberline {__version__}"
    assert sqlite3.sqlite_version in told
    assert "emberline.summary/" in told
    for package in ("click", "numpy", "scipy", "pyarrow"):
        assert f"{package} {version(package)}" in told
    assert others[-1].split(maxsplit=2)[2] == "emberline-data, not there yet"


def test_a_home_folder_is_not_named(elsewhere: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (elsewhere / "burns").mkdir()
    monkeypatch.setenv("EMBERLINE_DATA", str(elsewhere / "burns"))
    lines = list(version_lines())
    assert lines[-1].split(maxsplit=2)[2] == "~/burns, named by EMBERLINE_DATA"
    assert str(elsewhere) not in "\n".join(lines)


def test_a_data_folder_that_cannot_be_is_told_and_not_raised(elsewhere: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (elsewhere / "burns").write_text("")
    monkeypatch.setenv("EMBERLINE_DATA", "burns")
    assert "is a file" in list(version_lines())[-1]


def test_a_package_that_is_not_there_is_told(elsewhere: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.metadata.requires", lambda _: ["not-there-at-all>=1; extra == 'x'"])
    assert "no not-there-at-all" in "\n".join(version_lines())
