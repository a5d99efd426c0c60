from pathlib import Path

import pytest
from click.testing import CliRunner

from emberline.app import STORE_NAME
from emberline.cli import main
from emberline.store.store import Store


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("names")
    with Store.open(folder / STORE_NAME) as store:
        for number, label in enumerate(("chips", "pellets")):
            trial = store.create_trial(bench="yard", start_ns=10**18 + number, label=label)
            store.end_trial(trial.id, trial.start_ns + 10**12)
    planned = CliRunner().invoke(
        main, ["order", "holes-1", "--factor", "holes=8,12", "--blocks", "2", "--data", str(folder)]
    )
    assert planned.exit_code == 0, planned.output
    return folder


def completed(data: Path, words: str, begun: str) -> list[str]:
    """Return what bash is offered for a word that has been begun after others."""
    line = f"emberline {words.format(data=data)} {begun}"
    asked = {"_EMBERLINE_COMPLETE": "bash_complete", "COMP_WORDS": line, "COMP_CWORD": str(len(line.split(" ")) - 1)}
    done = CliRunner().invoke(main, env=asked, prog_name="emberline")
    assert done.stderr == ""
    return [offered.partition(",")[2] for offered in done.stdout.splitlines() if offered]


def test_trials_are_completed_the_newest_first(data: Path) -> None:
    assert completed(data, "summary --data {data}", "") == ["last", "2001-09-09-2", "2001-09-09-1"]
    assert completed(data, "card --data {data}", "2001-09-09-1") == ["2001-09-09-1"]
    assert completed(data, "calibrate apply --data {data} last", "la") == ["last"]


def test_benches_and_series_are_completed(data: Path) -> None:
    assert completed(data, "note --data {data} --bench", "") == ["yard"]
    assert completed(data, "order --data {data}", "ho") == ["holes-1"]
    assert completed(data, "compare --data {data} --series", "") == ["holes-1"]


def test_where_nothing_can_be_read_nothing_is_offered_and_nothing_is_said(tmp_path: Path) -> None:
    assert completed(tmp_path / "none", "summary --data {data}", "") == []
    (tmp_path / STORE_NAME).write_text("no store")
    assert completed(tmp_path, "summary --data {data}", "") == []
    assert completed(tmp_path / STORE_NAME, "summary --data {data}", "") == []


def test_files_are_left_to_the_shell(data: Path) -> None:
    asked = {"_EMBERLINE_COMPLETE": "bash_complete", "COMP_WORDS": "emberline check b", "COMP_CWORD": "2"}
    assert CliRunner().invoke(main, env=asked, prog_name="emberline").stdout == "file,b\n"
