"""The command `completion`."""

import click
from click.shell_completion import get_completion_class

from emberline.cli.telling import epilog, telling

SHELLS = ("bash", "zsh", "fish")


@click.command(epilog=epilog('eval "$(emberline completion bash)"'))
@click.argument("shell", type=click.Choice(SHELLS))
@click.pass_context
@telling
def completion(context: click.Context, shell: str) -> None:
    """Print what lets a shell complete commands and names.

    SHELL is bash (4.4 or newer), zsh or fish. The example, as a line of ~/.bashrc or ~/.zshrc, does it in every new
    terminal; fish takes `emberline completion fish | source` in ~/.config/fish/config.fish. Completed are commands,
    options, files, and the names of trials, series and benches in the data directory.
    """
    program = context.find_root()
    found = get_completion_class(shell)
    assert found is not None
    click.echo(found(program.command, {}, "emberline", "_EMBERLINE_COMPLETE").source())
