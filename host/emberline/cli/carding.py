"""The command `card`."""

from pathlib import Path

import click

from emberline.cli.burns import data_folder
from emberline.cli.telling import data_option, epilog, progress, target_options, telling, trial_argument


@click.command(epilog=epilog("emberline card last --to burn.png", 3, 4))
@trial_argument
@target_options(".png, .svg or .pdf")
@click.option("--square", is_flag=True, help="1080 by 1080 dots instead of 1920 by 1080.")
@data_option
@telling
def card(trial: str, target: Path, square: bool, overwrite: bool, data: Path | None) -> None:
    """Draw a picture of a burn to show to others.

    It has its main figures, its curves, what was burnt, the caution. TRIAL is an id that `emberline trials` lists, or
    `last`. `emberline compare --card FILE` draws one of a comparison.
    """
    from emberline.app.carding import card_of
    from emberline.reports.cards import Shape

    shape = Shape.SQUARE if square else Shape.WIDE
    with progress(2) as stage:
        card_of(data_folder(data), trial, target, shape, overwrite=overwrite, stage=stage)
    click.echo(f"Drew {target}")
