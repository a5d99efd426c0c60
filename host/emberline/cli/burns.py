"""Commands about burns: `trials`, `summary` and `export`."""

import os
import sys
from pathlib import Path

import click

from emberline.cli.streams import echo_utf8
from emberline.cli.telling import data_option, epilog, progress, target_options, telling, trial_argument


def data_folder(option: Path | None) -> Path:
    """Return the data directory that an option, the environment or the default names."""
    from emberline.config import data_directory

    return data_directory(option, os.environ)


@click.command(epilog=epilog("emberline trials --data burns-2026", 3, 4))
@data_option
@telling
def trials(data: Path | None) -> None:
    """List all trials with their main results."""
    from emberline.app import listed
    from emberline.cli.terminal import show_trials

    show_trials(listed(data_folder(data)))


@click.command(epilog=epilog("emberline summary last --json > summary.json", 3, 4))
@trial_argument
@click.option("--json", "form", flag_value="json", help="Print the summary as JSON.")
@click.option("--html", "form", flag_value="html", help="Print the summary page as HTML.")
@click.option("--open", "form", flag_value="open", help="Open the summary page in a browser.")
@data_option
@telling
def summary(trial: str, form: str | None, data: Path | None) -> None:
    """Print a trial's summary.

    TRIAL is an id that `emberline trials` lists, or `last`. A summary that another version of the program wrote is
    worked out anew from the stored samples.
    """
    import webbrowser

    from emberline.app import summary_of
    from emberline.cli.terminal import show_summary

    with progress(2) as stage:
        found = summary_of(data_folder(data), trial, stage)
    if form == "json":
        echo_utf8(found.text)
    elif form == "html":
        echo_utf8(found.page.read_text(encoding="utf-8"))
    elif form == "open":
        click.echo(str(found.page))
        if not webbrowser.open(found.page.absolute().as_uri()):
            click.echo("No browser could be started: open that file in one yourself.", err=True)
    else:
        show_summary(found)


@click.command(epilog=epilog("emberline export last --to burn.csv", 3, 4))
@trial_argument
@target_options(".csv or .parquet; or in .zip, for all of the trial")
@click.option("--raw", is_flag=True, help="Every sample instead of one row a second.")
@data_option
@telling
def export(trial: str, target: Path, raw: bool, overwrite: bool, data: Path | None) -> None:
    """Write a trial into a file for other programs.

    The curves go into a table, all that is known of it into a zip for another person. TRIAL is an id that `emberline
    trials` lists, or `last`. A row a second has the time t_s, each channel, fuel_g, water_g, burning_rate_g_min with
    its standard uncertainty, firepower_w and the phase. A zip holds every sample, the plan, the bench and the summary;
    `emberline import` makes the same trial of it.
    """
    from emberline.app import export_trial

    with progress(2) as stage:
        rows = export_trial(data_folder(data), trial, target, raw=raw, overwrite=overwrite, stage=stage)
    click.echo(f"Wrote {target}: {rows} rows", err=not sys.stdout.isatty())
