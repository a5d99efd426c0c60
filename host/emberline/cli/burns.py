"""Commands about burns: `import`, `trials`, `summary` and `export`."""

import os
import sys
from pathlib import Path

import click

from emberline.cli.streams import echo_utf8
from emberline.cli.telling import data_option, epilog, pairs, progress, target_options, telling, trial_argument


def data_folder(option: Path | None) -> Path:
    """Return the data directory that an option, the environment or the default names."""
    from emberline.config import data_directory

    return data_directory(option, os.environ)


@click.command(
    name="import",
    epilog=epilog("emberline import burn.csv --plan plan.toml --column t_s=time --column mass=scale_g", 4),
)
@click.argument("csv", type=click.Path(path_type=Path))
@click.option("--plan", type=click.Path(path_type=Path), metavar="FILE", help="What you know of the burn (TOML).")
@click.option("--bench", type=click.Path(path_type=Path), metavar="FILE", help="Your sensors (TOML).")
@click.option(
    "--column",
    "columns",
    multiple=True,
    callback=pairs,
    metavar="KEY=NAME",
    help="Column (by name, or by number from 1) for t_s, water, flame, ambient, mass, pot_mass, cell_temperature,"
    " pressure or co. Repeatable.  [default: guessed from the header]",
)
@click.option("--label", help="A name for the trial.  [default: the plan's]")
@click.option("--json", "json_file", metavar="FILE", help="Write the summary as JSON there too; - for the screen only.")
@data_option
@telling
def import_(
    csv: Path,
    plan: Path | None,
    bench: Path | None,
    columns: dict[str, str],
    label: str | None,
    json_file: str | None,
    data: Path | None,
) -> None:
    """Make a trial of a recorded burn and print its summary.

    CSV is a table of anyone's making, or a zip that `emberline export` wrote. In a table: time in seconds, ISO 8601 or
    epoch; comma, semicolon or tab; decimal points or commas. A time and one of mass and water are enough. What cannot
    be read is set aside and counted.
    """
    from emberline import app
    from emberline.cli.terminal import show_summary

    with progress(4) as stage:
        done = app.import_burn(
            csv, data_folder(data), columns, plan_file=plan, bench_file=bench, label=label, stage=stage
        )
    if json_file == "-":
        for remark in done.trial.remarks:
            click.echo(remark, err=True)
        echo_utf8(done.text)
        return
    if json_file is not None:
        app.write_text(Path(json_file), done.text)
    show_summary(done)


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
