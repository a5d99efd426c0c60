"""Describes the commands, from the objects that read them."""

import inspect
from collections.abc import Iterator

import click

from documentation.tables import code, table
from emberline.cli import main
from emberline.cli.telling import CODES


def commands() -> str:
    """Return every command with its words, its options and its exit codes."""
    context = click.Context(main, info_name="emberline")
    return "\n".join(_described(context, heading="##"))


def overview() -> str:
    """Return a table of all commands, in the order in which a person needs them."""
    context = click.Context(main, info_name="emberline")
    rows = []
    for name in main.list_commands(context):
        command = main.get_command(context, name)
        assert command is not None
        short = (command.help or "").split("\n\n")[0]
        rows.append([f"[`emberline {name}`](#emberline-{name})", short])
    return table(["command", "what it does"], rows)


def exit_codes() -> str:
    """Return what each exit code says."""
    return table(["code", "meaning"], [[code(str(number)), meaning] for number, meaning in CODES.items()])


def _described(context: click.Context, heading: str) -> Iterator[str]:
    command = context.command
    if isinstance(command, click.Group):
        if context.parent is not None:
            yield f"{heading} {context.command_path}\n"
            yield f"{_prose(command.help)}\n"
            heading += "#"
        for name in command.list_commands(context):
            part = command.get_command(context, name)
            assert part is not None
            yield from _described(click.Context(part, info_name=name, parent=context), heading)
        return
    yield f"{heading} {context.command_path}\n"
    pieces = " ".join(command.collect_usage_pieces(context))
    yield f"```text\n{context.command_path} {pieces}\n```\n"
    yield f"{_prose(command.help)}\n"
    records = [parameter.get_help_record(context) for parameter in command.params]
    rows = [[code(" ".join(names.split())), _prose(words)] for names, words in filter(None, records)]
    if rows:
        yield table(["option", "meaning"], rows)
    if command.epilog:
        yield f"{_prose(command.epilog)}\n"


def _prose(text: str | None) -> str:
    """Return a help text as Markdown: its example as code, its angle brackets as they are."""
    words = inspect.cleandoc(text or "").replace("\b", "").replace("<", "&lt;")
    example, marker, rest = words.partition("\n\n")
    if example.startswith("Example: "):
        return f"Example: `{example.removeprefix('Example: ')}`{marker}{rest}"
    return words
