"""The command `plans`."""

from pathlib import Path

import click

from emberline.cli.burns import data_folder
from emberline.cli.names import series_names
from emberline.cli.telling import data_option, epilog, target_options, telling


@click.command(epilog=epilog("emberline plans --to plans.csv", 3, 4))
@target_options(".csv")
@click.option("--stored", is_flag=True, help="With the plans of all stored trials.")
@click.option(
    "--series",
    metavar="NAME",
    shell_complete=series_names,
    help="With a row for each run of this planned series that is not made yet.",
)
@data_option
@telling
def plans(target: Path, stored: bool, series: str | None, overwrite: bool, data: Path | None) -> None:
    """Write a table of plans, to be filled in as a spreadsheet.

    It has a row a burn and a column for each key of a plan, with a row of remarks that say what is meant; empty columns
    may be deleted. `emberline import --plan plans.csv` takes the plan of each recording from the row that names it
    under `file`, `emberline arm --plan plans.csv` that of a series' next run, or of a row.
    """
    from emberline.app.plan_tables import plans_of_series, stored_plans, write_plan_table

    if stored and series is not None:
        raise click.UsageError("--stored and --series fill the table differently: say one of them")
    rows = stored_plans(data_folder(data)) if stored else []
    if series is not None:
        rows = plans_of_series(data_folder(data), series)
    write_plan_table(target, rows, overwrite=overwrite)
    filled = f" with {len(rows)} plans" if rows else ""
    click.echo(f"Wrote {target}{filled}: fill it in, then: emberline check {target}")
