"""The command `import`, of one recording and of many."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from emberline.cli import importing as module
from emberline.cli import main
from unit.app.small_burn import burn


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "old").mkdir()
    for name, seconds in (("a", 60), ("b", 70)):
        (tmp_path / "old" / f"{name}.csv").write_text(burn(seconds))
    return tmp_path


def run(folder: Path, *arguments: str) -> Result:
    return CliRunner().invoke(main, ["import", *arguments, "--data", str(folder / "data")])


def test_a_folder_twice_and_what_became_of_each(folder: Path) -> None:
    (folder / "old" / "plans.csv").write_text("file;label;fuel.moisture_wet\na.csv;first;0,11\nb.csv;second;0,12\n")
    first, again = run(folder, str(folder / "old")), run(folder, str(folder / "old"))
    assert (first.exit_code, again.exit_code) == (0, 0), first.output + again.output
    assert [line.partition(", ")[2] for line in first.output.splitlines()[:2]] == ["new", "new"]
    assert first.output.endswith("2 recordings: 2 new.\n")
    assert again.output.endswith("2 recordings: 2 known already, left as it is.\n")
    listed = CliRunner().invoke(main, ["trials", "--data", str(folder / "data")]).output
    assert [word in listed for word in ("first", "second")] == [True, True]
    assert len(listed.splitlines()) == 3


def test_one_bad_file_does_not_stop_the_others(folder: Path) -> None:
    (folder / "old" / "0.csv").write_text("nothing\n")
    (folder / "old" / "b.toml").write_text("[fuel]\nmas_g = 3\n")
    done = run(folder, str(folder / "old"))
    assert done.exit_code == 8
    assert "0.csv: the file has only one column" in done.stderr
    assert "did you mean mass_g" in done.stderr
    assert done.stdout.endswith(", new, without a plan\n3 recordings: 2 failed; 1 new.\n")


def test_a_plan_of_another_name_beside_a_recording_is_named(folder: Path) -> None:
    old = folder / "old"
    (old / "b.csv").unlink()
    (old / "plan.toml").write_text('label = "first"\n')
    done = run(folder, str(old))
    assert f"without a plan: if {old / 'plan.toml'} is its own, name that a.toml or give --plan" in done.stdout
    assert done.stdout.endswith("\n1 recording: 1 new.\n")
    assert "without a plan" not in run(folder, str(old), "--plan", str(old / "plan.toml")).stdout
    assert "first" in CliRunner().invoke(main, ["trials", "--data", str(folder / "data")]).output


def test_one_recording_prints_its_summary_and_says_that_it_is_known(folder: Path) -> None:
    source = str(folder / "old" / "a.csv")
    assert run(folder, source).stdout.startswith("Trial ")
    again = run(folder, source)
    assert "known already" in again.stderr
    assert again.stdout.startswith("Trial ")
    assert "a.csv was imported, without a plan.\n" in again.stderr


def test_one_recording_without_its_plan_is_told_of_the_plan_beside_it(folder: Path) -> None:
    source, plan = folder / "old" / "a.csv", folder / "old" / "plan.toml"
    plan.write_text('label = "first"\n')
    assert f"name that a.toml or give --plan {plan}" in run(folder, str(source)).stderr
    assert "without a plan" not in run(folder, str(source), "--plan", str(plan)).stderr


def test_nothing_is_printed_while_the_progress_bar_stands(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shown: list[str] = []

    @contextmanager
    def progress(_: int) -> Iterator[Callable[[str], None]]:
        shown.append("bar")
        yield lambda text: None
        shown.append("gone")

    monkeypatch.setattr(module, "progress", progress)
    monkeypatch.setattr("click.echo", lambda text, err=False: shown.append(text))
    assert run(folder, str(folder / "old")).exit_code == 0
    assert shown[:2] == ["bar", "gone"]
    assert len(shown) == 5


def test_a_label_is_about_one_recording(folder: Path) -> None:
    done = run(folder, str(folder / "old"), "--label", "x")
    assert done.exit_code == 2
    assert "name one file" in done.stderr
