import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from emberline import __version__
from emberline.cli import main
from emberline.cli.telling import CODES

COMMANDS = sorted(main.commands)


def run(*arguments: str | Path) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, [str(one) for one in arguments], catch_exceptions=False)
    return result.exit_code, result.stdout, result.stderr


def test_help_imports_nothing_heavy() -> None:
    heavy = ["numpy", "scipy", "matplotlib", "uncertainties", "rich", "jinja2", "sqlite3", "pyarrow"]
    code = (
        "import sys; from emberline.cli import main; main(['--help'], standalone_mode=False);"
        f"print([name for name in {heavy} if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=30, check=True)
    assert done.stderr.strip() == "[]"
    assert "import" in done.stdout


def computing_s() -> float:
    """Return the processor time of all processes that this one has started and awaited."""
    times = os.times()
    return times.children_user + times.children_system


def test_help_takes_less_than_0_4_seconds_of_computing() -> None:
    # Processor time, and the least of five: what else runs on the machine then hardly counts.
    script = Path(sys.executable).with_name("emberline")
    took = []
    for _ in range(5):
        begin_s = computing_s()
        subprocess.run([script, "--help"], capture_output=True, timeout=30, check=True)
        took.append(computing_s() - begin_s)
    assert 0.0 < min(took) < 0.4


def test_linear_algebra_gets_one_thread_unless_someone_said_otherwise(monkeypatch: pytest.MonkeyPatch) -> None:
    for variable in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
        monkeypatch.setenv(variable, "2")
    monkeypatch.delenv("OPENBLAS_NUM_THREADS")
    run("check", "nothing.toml")
    assert (os.environ["OPENBLAS_NUM_THREADS"], os.environ["OMP_NUM_THREADS"]) == ("1", "2")


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself_with_an_example_and_its_exit_codes(name: str) -> None:
    code, out, _ = run(name, "--help")
    assert code == 0
    assert f"Example: emberline {name}" in out
    listed = re.search(r"Exit codes: (.*)\.", out.replace("\n", " "))
    assert listed is not None
    for one in re.sub(r"\s+", " ", listed[1]).split("; "):
        number, _, meaning = one.partition(" ")
        assert CODES[int(number)] == meaning


def test_the_examples_of_the_help_name_real_commands_and_options() -> None:
    for name, command in main.commands.items():
        example = re.search(r"Example: (.*)", command.epilog or "")
        assert example is not None
        words = example[1].partition(" > ")[0].split()
        assert words[:2] == ["emberline", name]
        known = {option for parameter in command.params for option in parameter.opts}
        assert {word for word in words if word.startswith("--")} <= known


def test_commands_are_listed_in_the_order_of_their_use() -> None:
    _, out, _ = run("--help")
    places = [out.index(f"\n  {name} ") for name in ("init", "check", "import", "trials", "summary", "export")]
    assert places == sorted(places)


def test_version() -> None:
    assert run("--version")[1].strip().endswith(__version__)


def test_init_writes_a_file_that_check_accepts_and_never_overwrites(tmp_path: Path) -> None:
    file = tmp_path / "bench.toml"
    code, out, _ = run("init", file)
    assert code == 0
    assert f"emberline check {file}" in out
    code, out, _ = run("check", file)
    assert code == 0
    assert "channels: water, flame, mass" in out
    file.write_text("mine")
    code, _, err = run("init", file)
    assert code == 5
    assert "left alone" in err
    assert file.read_text() == "mine"


def test_init_into_a_missing_folder(tmp_path: Path) -> None:
    code, _, err = run("init", tmp_path / "no" / "bench.toml")
    assert code == 5
    assert "cannot write" in err


def test_check_tells_a_plan_from_a_bench(tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text('label = "chips"\n[fuel]\nmass_g = 310.0\n')
    assert run("check", plan) == (0, f"{plan}: the plan is in order; label: chips\n", "")


def test_check_names_the_line_and_the_nearest_key(tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text('label = "chips"\n[fuel]\nmas_g = 310.0\nmoisture_wet = 11\n')
    code, _, err = run("check", plan)
    assert code == 2
    assert "line 3" in err
    assert "mass_g" in err
    assert "line 4" in err
    assert "percent" in err
    bench = tmp_path / "bench.toml"
    bench.write_text('id = "b1"\n[[channel]]\nrole = "watr"\n')
    code, _, err = run("check", bench)
    assert code == 2
    assert "line 3" in err


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"[fuel\nmass_g = 1", b"[[channel]\n"])
def test_check_of_a_broken_file_gives_no_traceback(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "x.toml"
    file.write_bytes(content)
    code, _, err = run("check", file)
    assert code == 2
    assert err.startswith("Error: ")
    assert "Traceback" not in err


def test_check_of_nothing(tmp_path: Path) -> None:
    code, _, err = run("check", tmp_path / "none.toml")
    assert code == 2
    assert "no such file" in err


@pytest.mark.parametrize(
    ("value", "told"), [("water", "KEY=NAME"), ("=x", "KEY=NAME"), ("water=", "KEY=NAME"), ("water=a", "twice")]
)
def test_a_column_option_that_says_nothing_is_wrong_usage(tmp_path: Path, value: str, told: str) -> None:
    code, _, err = run("import", tmp_path / "burn.csv", "--column", "water=w", "--column", value)
    assert code == 2
    assert told in err


@pytest.mark.parametrize("arguments", [["trials"], ["summary", "last"], ["export", "last", "--to", "x.csv"]])
def test_without_a_store_commands_say_what_to_do(tmp_path: Path, arguments: list[str]) -> None:
    code, _, err = run(*arguments, "--data", tmp_path)
    assert code == 3
    assert "import a burn first" in err
    assert list(tmp_path.iterdir()) == []
