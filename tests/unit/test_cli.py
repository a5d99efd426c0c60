import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from emberline import __version__
from emberline.cli import main
from emberline.cli.telling import ANY_COMMAND, CODES


def commands(group: click.Group = main, *before: str) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    """Yield all commands with the words that name them, those of groups too."""
    for name, command in group.commands.items():
        yield (*before, name), command
        if isinstance(command, click.Group):
            yield from commands(command, *before, name)


COMMANDS = dict(commands())
every_command = pytest.mark.parametrize("words", COMMANDS, ids=" ".join)


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


@every_command
def test_every_command_explains_itself_with_an_example_and_its_exit_codes(words: tuple[str, ...]) -> None:
    code, out, _ = run(*words, "--help")
    assert code == 0
    assert f"emberline {' '.join(words)}" in re.findall(r"Example: .*", out)[0]
    assert set(ANY_COMMAND) <= set(codes_told(out))


def test_the_help_of_the_whole_lists_all_exit_codes() -> None:
    assert codes_told(run("--help")[1]) == tuple(CODES)


def codes_told(text: str) -> tuple[int, ...]:
    """Return the exit codes that a help tells of, each with its meaning."""
    listed = re.search(r"Exit codes: (.*)\.", text.replace("\n", " "))
    assert listed is not None
    meanings = re.sub(r"\s+", " ", listed[1])
    found = tuple(code for code, meaning in CODES.items() if f"{code} {meaning}" in meanings)
    assert meanings == "; ".join(f"{code} {CODES[code]}" for code in found)
    return found


@every_command
def test_every_option_says_what_it_does_and_every_argument_is_explained(words: tuple[str, ...]) -> None:
    command = COMMANDS[words]
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, parameter.name
            assert not parameter.help[0].islower(), parameter.help
            assert parameter.help[-1] in ".]", parameter.help
        else:
            name = parameter.make_metavar(click.Context(command)).strip("[].")
            assert re.search(rf"\b{name}\b", command.help or ""), name


@every_command
def test_lists_of_commands_cut_no_sentence_short(words: tuple[str, ...]) -> None:
    assert not COMMANDS[words].get_short_help_str(68 - len(words[-1])).endswith("...")


@every_command
def test_examples_are_such_that_the_command_takes_them(words: tuple[str, ...]) -> None:
    command = COMMANDS[words]
    example = re.search(r"Example: (.*)", command.epilog or "")
    assert example is not None
    asked = re.search(r"\$\((.*)\)", example[1])
    typed = shlex.split((asked[1] if asked else example[1]).partition(" > ")[0])
    assert typed[: len(words) + 1] == ["emberline", *words]
    if isinstance(command, click.Group):
        assert typed[len(words) + 1] in command.commands
    else:
        command.make_context(words[-1], typed[len(words) + 1 :])


def test_commands_are_listed_in_the_order_of_their_use() -> None:
    _, out, _ = run("--help")
    places = [out.index(f"\n  {name} ") for name in ("init", "check", "import", "trials", "summary", "export")]
    assert places == sorted(places)


def test_version() -> None:
    assert run("--version")[1].startswith(f"emberline {__version__}\n")


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
