from pathlib import Path

from click.testing import CliRunner

from emberline.cli import main
from lab_fixture import fill


def test_figures_of_one_and_of_several_trials(tmp_path: Path) -> None:
    data = str(fill(tmp_path))
    first = str(tmp_path / "one.pdf")
    assert CliRunner().invoke(main, ["figure", "last", "--to", first, "--data", data]).output == f"Drew {first}\n"
    both = tmp_path / "both.svg"
    trials = [line.split()[0] for line in CliRunner().invoke(main, ["trials", "--data", data]).output.splitlines()[1:]]
    done = CliRunner().invoke(main, ["figure", *trials, "--by", "fuel", "--to", str(both), "--data", data])
    assert done.exit_code == 0, done.output
    assert {"fuel beech", "fuel pine"} <= set(both.read_text().replace(">", "<").split("<"))
    assert CliRunner().invoke(main, ["figure", "--to", first, "--data", data]).exit_code == 2
