"""The lock files hold what pyproject.toml asks for, agree with each other, and name no machine."""

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

ROOT = Path(__file__).parents[2]
RUN, DEV = "requirements.lock", "requirements-dev.lock"
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())


def locked(name: str) -> dict[str, Version]:
    """Return the versions of a lock file by package."""
    pins = re.findall(r"^([\w.-]+)==([^\s;]+)", (ROOT / name).read_text(), re.MULTILINE)
    return {canonicalize_name(package): Version(version) for package, version in pins}


def group(name: str) -> list[str]:
    """Return what a dependency group asks for, with the groups that it includes."""
    asked: list[str] = []
    for entry in PYPROJECT["dependency-groups"][name]:
        asked += [entry] if isinstance(entry, str) else group(entry["include-group"])
    return asked


RUNNING = [*PYPROJECT["project"]["dependencies"], *group("build")]
EXTRAS = [text for texts in PYPROJECT["project"]["optional-dependencies"].values() for text in texts]


@pytest.mark.parametrize(("name", "asked"), [(RUN, RUNNING), (DEV, [*RUNNING, *EXTRAS, *group("dev")])], ids=[RUN, DEV])
def test_everything_asked_for_is_locked_in_a_version_that_fits(name: str, asked: list[str]) -> None:
    pins = locked(name)
    unmet = [
        text
        for text in asked
        if (pin := pins.get(canonicalize_name(Requirement(text).name))) is None
        or pin not in Requirement(text).specifier
    ]
    assert unmet == [], "run deploy/lock"


def test_both_lock_files_agree() -> None:
    dev = locked(DEV)
    assert {package: dev.get(package) for package in locked(RUN)} == locked(RUN)


@pytest.mark.parametrize("name", [RUN, DEV])
def test_every_pin_has_hashes_and_nothing_names_a_machine(name: str) -> None:
    text = (ROOT / name).read_text()
    pins = re.split(r"\n(?=\S)", text.rstrip())
    assert [pin.splitlines()[0] for pin in pins if not pin.startswith("#") and "--hash=sha256:" not in pin] == []
    assert re.findall(r"https?:|file:|--\w*index|--find-links|@ ", text) == []
