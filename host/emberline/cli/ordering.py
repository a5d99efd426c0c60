"""The command `order`: plan a series of burns, and see how far one has come."""

import secrets
from pathlib import Path

import click

from emberline.cli.burns import data_folder
from emberline.cli.names import series_names
from emberline.cli.telling import data_option, epilog, pairs, progress, telling

DECIDING = "time_to_boil"


def _levels(context: click.Context, parameter: click.Parameter, values: tuple[str, ...]) -> dict[str, list[str]]:
    return {
        name: [level.strip() for level in levels.split(",") if level.strip()]
        for name, levels in pairs(context, parameter, values).items()
    }


@click.command(epilog=epilog("emberline order holes-1 --factor holes=8,12 --show 30", 3, 4, 6))
@click.argument("name", required=False, shell_complete=series_names)
@click.option(
    "--factor",
    "factors",
    multiple=True,
    callback=_levels,
    metavar="FACTOR=LEVEL,LEVEL,...",
    help="What is varied. Repeatable.",
)
@click.option("--blocks", type=click.IntRange(2, 100), metavar="N", help="How often each condition is burnt.")
@click.option(
    "--show",
    type=float,
    metavar="AMOUNT",
    help="The difference to be shown, in the unit of --result, instead of --blocks.",
)
@click.option(
    "--scatter",
    type=float,
    metavar="SD",
    help="How much single burns scatter, in the unit of --result.  [default: as those in the store do]",
)
@click.option("--result", default=DECIDING, show_default=True, metavar="NAME", help="The result that decides.")
@click.option(
    "--until", type=float, metavar="AMOUNT", help="End already when the difference's interval is ± this at most."
)
@click.option("--seed", type=click.IntRange(0), metavar="N", help="Seed of the order.  [default: drawn]")
@data_option
@telling
def order(
    name: str | None,
    factors: dict[str, list[str]],
    blocks: int | None,
    show: float | None,
    scatter: float | None,
    result: str,
    until: float | None,
    seed: int | None,
    data: Path | None,
) -> None:
    """Plan a series of burns, or show how far one is.

    NAME is the series; without it, all are listed. With --factor it is planned: how many burns, in what order, and when
    it ends; without, it is shown how far it has come. Every condition is burnt once in each block, in random order
    within it, so that weather and practice strike all alike. The stop rule is set here, before the first burn, and
    `emberline compare --series NAME` says whether it was kept. `emberline arm --series NAME` takes up the next run.
    """
    from emberline.app import STORE_NAME
    from emberline.app.ordering import plan_series, scatter_so_far
    from emberline.cli.series import show_series
    from emberline.reports.wording import RESULTS
    from emberline.service.series_standing import all_standings, standing_of
    from emberline.store.reader import StoreReader
    from emberline.trials.comparison.burns_needed import POWER, burns_needed
    from emberline.trials.comparison.stop_rule import StopRule

    folder = data_folder(data)
    store = StoreReader(folder / STORE_NAME)
    if name is None:
        listed = all_standings(store)
        for standing in listed:
            done, runs = len(standing.counting), len(standing.series.runs)
            click.echo(f"{standing.series.name}: {done} of {runs} runs, by {', '.join(standing.series.factors)}")
        if not listed:
            click.echo("No series is planned yet: emberline order NAME --factor holes=8,12 --blocks 5 plans one.")
        return
    if not factors:
        if blocks or show or until or scatter or seed is not None:
            raise click.UsageError("to plan a series, say what is varied: --factor holes=8,12")
        show_series(standing_of(store, name), data)
        return
    if result not in RESULTS:
        raise click.UsageError(f"there is no result {result!r}; the results are: {', '.join(RESULTS)}")
    if (blocks is None) == (show is None):
        raise click.UsageError("say either how often each condition is burnt (--blocks) or which difference to --show")
    if show is not None:
        if scatter is None:
            with progress(None) as stage:
                scatter = scatter_so_far(folder, list(factors), result, stage)
        blocks = burns_needed(show, scatter)
        click.echo(
            f"Single burns scatter by {scatter:.3g}: {blocks} burns of each show a difference of {show:g} in "
            f"{100 * POWER:.0f} of 100 such series."
        )
    assert blocks is not None
    rule = StopRule(burns=blocks) if until is None else StopRule(half_width=until, most_burns=blocks)
    drawn = secrets.randbelow(1_000_000) if seed is None else seed
    plan_series(folder, name, factors, result, blocks=blocks, rule=rule, seed=drawn)
    show_series(standing_of(store, name), data)
