"""The command `figure`."""

from pathlib import Path

import click

from emberline.cli.burns import data_folder
from emberline.cli.names import trial_names
from emberline.cli.telling import data_option, epilog, progress, target_options, telling


@click.command(epilog=epilog("emberline figure last --to burn.pdf --narrow", 3, 4))
@click.argument("trials", nargs=-1, required=True, metavar="TRIAL...", shell_complete=trial_names)
@target_options(".pdf, .svg or .png")
@click.option("--by", metavar="FACTOR", help="Of several trials: those of one level of this factor share a colour.")
@click.option("--narrow", is_flag=True, help="A column of most journals, 89 mm wide, instead of 185 mm.")
@data_option
@telling
def figure(
    trials: tuple[str, ...], target: Path, by: str | None, narrow: bool, overwrite: bool, data: Path | None
) -> None:
    """Draw the curves of a trial, or of several, for a paper.

    One trial is drawn with its events; of several, water and burning rate lie over each other, from lit on. TRIAL is an
    id that `emberline trials` lists, or `last`.
    """
    from emberline.app.figures import draw_figure

    with progress(len(trials)) as stage:
        draw_figure(data_folder(data), trials, target, by=by, narrow=narrow, overwrite=overwrite, stage=stage)
    click.echo(f"Drew {target}")
