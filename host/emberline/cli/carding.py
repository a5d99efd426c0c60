"""The command `card`."""

from pathlib import Path

import click

from emberline.cli.burns import data_folder
from emberline.cli.telling import data_option, epilog, progress, telling


@click.command(epilog=epilog("emberline card last --to burn.png", 2, 3, 4, 5))
@click.argument("trial")
@click.option(
    "--to",
    "target",
    type=click.Path(path_type=Path),
    required=True,
    metavar="FILE",
    help="File that ends in .png or .svg.",
)
@click.option("--square", is_flag=True, help="1080 by 1080 instead of 1920 by 1080.")
@click.option("--overwrite", is_flag=True, help="Replace the file if it exists.")
@data_option
@telling
def card(trial: str, target: Path, square: bool, overwrite: bool, data: Path | None) -> None:
    """Draw a picture of a burn to show to others: its main figures, its curves, what was burnt, the caution.

    TRIAL is an id that `emberline trials` lists, or `last`. `emberline compare --card FILE` draws one of a comparison.
    """
    from emberline.app.carding import card_of
    from emberline.reports.cards import Shape

    shape = Shape.SQUARE if square else Shape.WIDE
    with progress(2) as stage:
        card_of(data_folder(data), trial, target, shape, overwrite=overwrite, stage=stage)
    click.echo(f"Drew {target}")
