"""The guards catch what they are there for: small tests run under the project's own settings, and are judged."""

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from textwrap import dedent
from xml.etree import ElementTree as ET

import pytest

TESTS = Path(__file__).parents[1]

SMALL_TESTS = {
    "leaves_a_thread": """
        def test_it():
            threading.Thread(target=threading.Event().wait, name="reader", daemon=True).start()
        """,
    "ends_its_thread": """
        def test_it():
            stop = threading.Event()
            threading.Thread(target=stop.wait, name="reader").start()
            stop.set()
        """,
    "leaves_a_task": """
        async def test_it():
            test_it.task = asyncio.get_running_loop().create_task(asyncio.sleep(1000), name="ingest")
        """,
    "ends_its_task": """
        @pytest.fixture
        async def work():
            task = asyncio.get_running_loop().create_task(asyncio.sleep(1000))
            yield task
            task.cancel()
            await asyncio.wait([task])

        async def test_it(work):
            assert not work.done()
        """,
    "fails_unseen": """
        async def test_it():
            future = asyncio.get_running_loop().create_future()
            future.set_exception(ValueError("lost"))
            del future
        """,
    "warns": """
        def test_it():
            warnings.warn("old habit", DeprecationWarning)
        """,
    "leaves_a_file_open": """
        def test_it():
            open(__file__).read(1)
        """,
    "is_too_slow": """
        @pytest.mark.timeout(0.2)
        def test_it():
            while True:
                pass
        """,
    "has_no_open_data": """
        def test_it(monkeypatch):
            monkeypatch.delenv("EMBERLINE_OPEN_DATA", raising=False)
            guards.open_data_folder()
        """,
    "mistypes_open_data": """
        def test_it(monkeypatch):
            monkeypatch.setenv("EMBERLINE_OPEN_DATA", "nowhere")
            guards.open_data_folder()
        """,
    "has_open_data": """
        def test_it(monkeypatch):
            monkeypatch.setenv("EMBERLINE_OPEN_DATA", ".")
            assert guards.open_data_folder().is_dir()
        """,
}
HEAD = "import asyncio, threading, warnings\nimport guards, pytest\nguards.GRACE_S = 0.1\n"


@pytest.fixture(scope="module")
def verdicts(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Run the small tests in a project with these guards and settings; return what pytest says of each."""
    project = tmp_path_factory.mktemp("project")
    (project / "tests").mkdir()
    shutil.copy(TESTS.parent / "pyproject.toml", project)
    shutil.copy(TESTS / "guards.py", project / "tests")
    (project / "tests" / "conftest.py").write_text('pytest_plugins = ["guards"]\n')
    for name, source in SMALL_TESTS.items():
        (project / "tests" / f"test_{name}.py").write_text(HEAD + dedent(source))
    subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "--junit-xml=verdicts.xml"],
        cwd=project,
        env={name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        timeout=50,
        check=False,
    )
    cases = ET.parse(project / "verdicts.xml").iter("testcase")  # noqa: S314 pytest has just written it
    return {
        case.attrib["classname"].removeprefix("tests.test_"): " ".join(
            f"{said.tag}: {said.attrib['message']} {said.text}" for said in case if "message" in said.attrib
        )
        for case in cases
    }


@pytest.mark.parametrize(
    ("name", "verdict", "words"),
    [
        ("leaves_a_thread", "error", "threads left running: reader"),
        ("leaves_a_task", "error", "tasks left pending: ingest"),
        ("fails_unseen", "error", "ValueError: lost"),
        ("warns", "failure", "DeprecationWarning: old habit"),
        ("leaves_a_file_open", "failure", "ResourceWarning: unclosed file"),
        ("is_too_slow", "failure", "Timeout"),
        ("mistypes_open_data", "failure", "EMBERLINE_OPEN_DATA names nowhere, which is no folder"),
        ("has_no_open_data", "skipped", "EMBERLINE_OPEN_DATA is not set"),
    ],
)
def test_what_breaks_a_rule_is_caught(verdicts: dict[str, str], name: str, verdict: str, words: str) -> None:
    assert verdicts[name].startswith(f"{verdict}: ")
    assert words in verdicts[name]


@pytest.mark.parametrize("name", ["ends_its_thread", "ends_its_task", "has_open_data"])
def test_what_keeps_the_rules_passes(verdicts: dict[str, str], name: str) -> None:
    assert verdicts[name] == ""


def test_every_test_has_a_minute() -> None:
    settings = tomllib.loads((TESTS.parent / "pyproject.toml").read_text())["tool"]["pytest"]["ini_options"]
    assert settings["timeout"] == 60
