"""The commands `archive` and `compare --archive`: the trials of several data folders, in one place."""

import json
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from compared_fixture import fill
from emberline.app import STORE_NAME
from emberline.cli import main
from emberline.store.store import Store


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A store with a short series of burns."""
    folder = tmp_path / "data"
    folder.mkdir()
    with Store.open(folder / STORE_NAME) as store:
        fill(store)
    return folder


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


def test_an_archive_is_written_once_and_compares_like_its_store(data: Path, tmp_path: Path) -> None:
    place = str(tmp_path / "archive")
    first, again = (run("archive", place, "--data", str(data)) for _ in range(2))
    assert first.output == f"{place}: 7 trials written, 0 were there as they are\n"
    assert again.output == f"{place}: 0 trials written, 7 were there as they are\n"
    told = run("compare", "--by", "holes", "--archive", place)
    assert told.exit_code == 0, told.output
    assert told.output == run("compare", "--by", "holes", "--data", str(data)).output


def test_trials_of_two_stores_are_compared_with_each_other(data: Path, tmp_path: Path) -> None:
    place, other = str(tmp_path / "archive"), tmp_path / "other"
    other.mkdir()
    with Store.open(other / STORE_NAME) as store:
        fill(store)
    for folder in (data, other):
        assert run("archive", place, "--data", str(folder)).exit_code == 0
    told = run("compare", "--by", "holes", "--result", "time_to_boil", "--archive", place, "--json", "-")
    groups = json.loads(told.output)["results"]["time_to_boil"]["groups"]
    assert {name: group["n"] for name, group in groups.items()} == {"holes 8": 6, "holes 12": 6}
    alone = run("compare", "--by", "holes", "--result", "time_to_boil", "--data", str(data), "--json", "-")
    mean = json.loads(alone.output)["results"]["time_to_boil"]["groups"]["holes 8"]["mean"]
    assert groups["holes 8"]["mean"] == pytest.approx(mean)


def test_a_series_is_found_in_the_archive(tmp_path: Path) -> None:
    data, place = tmp_path / "data", str(tmp_path / "archive")
    planned = run("order", "holes-1", "--factor", "holes=8,12", "--blocks", "3", "--seed", "1", "--data", str(data))
    assert planned.exit_code == 0, planned.output
    with Store.open(data / STORE_NAME) as store:
        fill(store, series="holes-1")
    assert run("archive", place, "--data", str(data)).exit_code == 0
    told = run("compare", "--series", "holes-1", "--archive", place)
    assert told.exit_code == 0, told.output
    assert told.output == run("compare", "--series", "holes-1", "--data", str(data)).output


@pytest.mark.parametrize(
    ("words", "code", "why"),
    [
        (("compare", "--by", "holes", "--archive", "{}", "--data", "{}"), 2, "say one of them"),
        (("compare", "--by", "holes", "--archive", "{}/none"), 3, "holds no archived trial"),
        (("compare", "--by", "holes", "--archive", "gopher://x"), 4, "cannot be used for an archive"),
        (("archive", "{}/a", "--data", "{}/none"), 3, "no store"),
        (("archive", "{}/file/a", "--data", "{}/data"), 5, "cannot write"),
    ],
)
def test_what_cannot_be_done_is_told(data: Path, tmp_path: Path, words: tuple[str, ...], code: int, why: str) -> None:
    (tmp_path / "file").write_text("no folder")
    told = run(*(word.format(tmp_path) for word in words))
    assert (told.exit_code, why in " ".join(told.output.split())) == (code, True), told.output


def test_where_some_trials_could_not_be_worked_out_the_exit_code_says_so(
    data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    @contextmanager
    def here(*_: object) -> Iterator[ThreadPoolExecutor]:
        with ThreadPoolExecutor(1) as executor:
            yield executor

    monkeypatch.setattr("emberline.app.workers.workers", here)
    place = tmp_path / "archive"
    run("archive", str(place), "--data", str(data))
    broken = next(place.rglob("*-4-*.parquet"))
    broken.write_bytes(broken.read_bytes()[:-100])
    told = run("reanalyse", "--archive", str(place), "--again")
    assert told.exit_code == 8, told.output
    assert broken.name in told.stderr


def test_a_damaged_file_ends_a_comparison_with_its_name(data: Path, tmp_path: Path) -> None:
    place = tmp_path / "archive"
    run("archive", str(place), "--data", str(data))
    broken = next(place.rglob("*-4-*.parquet"))
    broken.write_bytes(broken.read_bytes()[:-100])
    told = run("compare", "--by", "holes", "--archive", str(place))
    assert told.exit_code == 4
    assert broken.name in told.output
    assert "run `emberline archive` where the trial was recorded" in " ".join(told.output.split())
