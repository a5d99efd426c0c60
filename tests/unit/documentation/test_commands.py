from collections.abc import Iterator

import click
import pytest
from documentation.commands import commands, exit_codes, overview

from emberline.cli import main
from emberline.cli.telling import CODES


def every(command: click.Command, path: str) -> Iterator[tuple[str, click.Command]]:
    if isinstance(command, click.Group):
        for name, part in command.commands.items():
            yield from every(part, f"{path} {name}")
    else:
        yield path, command


@pytest.mark.parametrize(("path", "command"), list(every(main, "emberline")))
def test_each_command_has_its_words_its_options_and_its_codes(path: str, command: click.Command) -> None:
    section = commands().partition(f" {path}\n")[2].partition("\n## ")[0]
    assert (command.help or "").split()[0] in section
    options = [word for one in command.params if isinstance(one, click.Option) and not one.hidden for word in one.opts]
    assert [option for option in options if option not in section] == []
    assert "Example: `" in section
    assert "Exit codes: 0 done" in section


def test_the_overview_and_the_codes_leave_nothing_out() -> None:
    assert all(f"[`emberline {name}`](#emberline-{name})" in overview() for name in main.commands)
    assert all(f"| `{code}` | {meaning} |" in exit_codes() for code, meaning in CODES.items())
