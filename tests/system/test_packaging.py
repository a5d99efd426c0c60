"""The built package: what it holds, and that it runs in an environment of its own, far from the project's folder."""

import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

from emberline import __version__
from live_fixture import short_burn
from unit.app.small_burn import burn

ROOT = Path(__file__).parents[2]
PACKAGES = ("host/emberline", "firmware_protocol/emberline_wire", "simulators/emberline_sim")
NO_INDEX = ("Could not find a version", "Failed to establish a new connection", "Temporary failure in name resolution")
ELSEWHERE = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "EMBERLINE"))}


def build(kind: str, source: Path, target: Path) -> Path:
    """Build a wheel or an sdist of a source folder, without a word to any index."""
    command = [sys.executable, "-m", "hatchling", "build", "-t", kind, "-d", str(target)]
    subprocess.run(command, cwd=source, check=True, capture_output=True, timeout=50)
    return next(target.iterdir())


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build("wheel", ROOT, tmp_path_factory.mktemp("wheel"))


def test_the_wheel_holds_every_file_of_the_packages_and_no_other(wheel: Path) -> None:
    expected = {
        f"{Path(package).name}/{file.relative_to(ROOT / package)}"
        for package in PACKAGES
        for file in (ROOT / package).rglob("*")
        if file.is_file() and "__pycache__" not in file.parts and file.suffix != ".so"
    }
    about = f"emberline-{__version__}.dist-info"
    expected |= {f"{about}/{name}" for name in ("METADATA", "WHEEL", "RECORD", "entry_points.txt", "licenses/LICENSE")}
    expected.add(f"{about}/licenses/host/emberline/web/static/uPlot.LICENSE")
    assert set(zipfile.ZipFile(wheel).namelist()) == expected
    assert {f"{Path(package).name}/py.typed" for package in PACKAGES} <= expected


def test_a_wheel_made_of_the_source_package_is_the_same(wheel: Path, tmp_path: Path) -> None:
    packed = build("sdist", ROOT, tmp_path / "sdist")
    with tarfile.open(packed) as archive:
        names = [Path(*Path(name).parts[1:]) for name in archive.getnames()]
        archive.extractall(tmp_path, filter="data")
    assert {name.parts[0] for name in names} - {"PKG-INFO", ".gitignore"} <= {path.name for path in ROOT.iterdir()}
    hidden = {part for name in names for part in name.parts if part.startswith(".")}
    assert hidden == {".gitignore"}
    assert not [name for name in names if name.suffix in (".so", ".pyc", ".sqlite3", ".whl", ".o")]
    again = build("wheel", tmp_path / packed.name.removesuffix(".tar.gz"), tmp_path / "again")
    # Both are built with the times of no machine, so that equal content is equal bytes.
    assert again.read_bytes() == wheel.read_bytes()


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Install the wheel, with what it asks for and nothing else, and return the folder of its commands."""
    place = tmp_path_factory.mktemp("installed")
    subprocess.run([sys.executable, "-m", "venv", place], check=True, timeout=120, env=ELSEWHERE)
    pip = [
        str(place / "bin" / "python"),
        "-m",
        "pip",
        "--disable-pip-version-check",
        "--quiet",
        "install",
        "--no-compile",
    ]
    done = subprocess.run([*pip, str(wheel)], capture_output=True, text=True, timeout=280, env=ELSEWHERE, check=False)
    if any(words in done.stderr for words in NO_INDEX):
        pytest.skip("no index of packages can be reached from here")
    assert done.returncode == 0, done.stderr
    return place / "bin"


def run(installed: Path, folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run the installed command in a folder of its own."""
    command = [str(installed / "emberline"), *words]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=200, env=ELSEWHERE, check=False)


@pytest.mark.timeout(400)
def test_an_installed_package_burns_a_batch_far_from_the_project(installed: Path, tmp_path: Path) -> None:
    told = run(installed, tmp_path, "--version")
    assert told.stdout.startswith(f"emberline {__version__}\n"), told.stderr
    assert "no pyarrow" in told.stdout
    where = subprocess.run(
        [installed / "python", "-c", "import emberline, emberline_sim, emberline_wire; print(emberline.__file__)"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=30,
        env=ELSEWHERE,
        check=True,
    )
    assert where.stdout.startswith(str(installed.parent))
    (tmp_path / "short.toml").write_text(short_burn(560.0), encoding="utf-8")
    done = run(installed, tmp_path, "demo", "--scenario", "short.toml", "--speed", "120", "--data", "data")
    assert done.returncode == 0, done.stderr
    for words in ("Time to boil", "Thermal efficiency", "Caution"):
        assert words in done.stdout
    again = run(installed, tmp_path, "summary", "last", "--data", "data")
    assert (again.returncode, again.stdout in done.stdout) == (0, True)
    page = next((tmp_path / "data").glob("trials/*/summary.html")).read_text(encoding="utf-8")
    assert "<svg" in page


@pytest.mark.timeout(400)
def test_what_an_extra_would_bring_is_named_with_the_command_that_brings_it(installed: Path, tmp_path: Path) -> None:
    (tmp_path / "burn.csv").write_text(burn())
    assert run(installed, tmp_path, "import", "burn.csv").returncode == 0
    (tmp_path / "services").write_text("json://127.0.0.1\n")
    (tmp_path / "services").chmod(0o600)
    (tmp_path / "alarms.toml").write_text('services_file = "services"\n')
    for extra, code, words in (
        ("parquet", 5, ("export", "last", "--to", "burn.parquet")),
        ("archive", 4, ("archive", "burns")),
        ("cluster", 6, ("reanalyse", "--again")),
        ("alarms", 2, ("run", "--alarms", "alarms.toml", "--port", "none", "--no-http")),
    ):
        told = run(installed, tmp_path, *words)
        assert f"pip install 'emberline[{extra}]'" in told.stderr, (extra, told.stderr)
        assert told.returncode == code, extra
        assert "Traceback" not in told.stderr
