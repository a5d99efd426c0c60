"""The command `link`, and how a link is shown: as text, and as a code for a phone's camera."""

from pathlib import Path

import click

from emberline.cli.burns import data_folder
from emberline.cli.telling import data_option, epilog, telling


@click.command(epilog=epilog("emberline link --data burns-2026", 6))
@data_option
@telling
def link(data: Path | None) -> None:
    """Show the link to a running daemon's pages.

    A terminal shows it as a code too, which a phone's camera reads. Where other machines can reach the pages, the link
    holds a token: who has it sees everything and may do everything that the pages offer. Delete pages.token in the data
    folder and start anew to have another one.
    """
    from urllib.parse import urlsplit

    from emberline.service.control_client import ask
    from emberline.service.errors import RequestError
    from emberline.web.door import is_loopback, link_of, token_of

    folder = data_folder(data)
    address = ask(folder, {"do": "health"})["health"]["address"]
    if address is None:
        raise RequestError("no pages are served: they were turned off, or their port is taken (see `emberline status`)")
    url = address.removesuffix("health")
    alone = is_loopback(urlsplit(url).hostname or "")
    show_link(url if alone else link_of(url, token_of(folder)))
    if alone:
        click.echo("Only this machine can open it; `emberline run --http 0.0.0.0:8437` opens it to others.", err=True)


def show_link(url: str) -> None:
    """Print a link; on a terminal with its code beneath, where it leads to other machines."""
    import sys

    import segno

    click.echo(url)
    if sys.stdout.isatty() and "token=" in url:
        click.echo()
        segno.make(url, micro=False).terminal(sys.stdout, compact=True)
