"""Commands about many burns: `compare`."""

import json
from pathlib import Path

import click

from emberline.cli.burns import data_folder
from emberline.cli.names import series_names
from emberline.cli.streams import echo_utf8
from emberline.cli.telling import EITHER, archive_option, data_option, epilog, pairs, progress, telling


@click.command(epilog=epilog("emberline compare --by holes --where fuel=chips", 3, 4))
@click.option("--by", multiple=True, metavar="FACTOR", help="Group the trials by a factor of their plans. Repeatable.")
@click.option(
    "--series",
    metavar="NAME",
    shell_complete=series_names,
    help="The trials of a planned series, and whether its stop rule was kept.",
)
@click.option(
    "--where", multiple=True, callback=pairs, metavar="FACTOR=LEVEL", help="Only trials with that level. Repeatable."
)
@click.option(
    "--group",
    "groups",
    multiple=True,
    callback=pairs,
    metavar="NAME=TRIAL,TRIAL,...",
    help="A group of your own choice, instead of --by. Repeatable.",
)
@click.option(
    "--result",
    "results",
    multiple=True,
    metavar="NAME",
    help="A result to compare. Repeatable.  [default: the main ones]",
)
@click.option(
    "--wish", type=float, metavar="AMOUNT", help="The difference you want to see shown, in the unit of one --result."
)
@click.option("--card", type=click.Path(path_type=Path), metavar="FILE", help="Draw it as a picture (.png or .svg).")
@click.option("--title", help="Title of that picture.  [default: the groups' names]")
@click.option("--square", is_flag=True, help="A square picture.")
@click.option("--overwrite", is_flag=True, help="Replace the picture if it exists.")
@archive_option("Compare what is archived there, of any number of daemons, instead of the data directory's trials.")
@click.option("--json", "json_file", metavar="FILE", help="Write the comparison as JSON there; - for the screen only.")
@data_option
@telling
def compare(
    by: tuple[str, ...],
    series: str | None,
    where: dict[str, str],
    groups: dict[str, str],
    results: tuple[str, ...],
    wish: float | None,
    card: Path | None,
    title: str | None,
    square: bool,
    overwrite: bool,
    archive: str | None,
    json_file: str | None,
    data: Path | None,
) -> None:
    """Tell whether a change helped, and how surely.

    It tells also how many more burns would show a difference. Trials are grouped by factors of their plans, or by hand.
    Each result has its mean, scatter and number of burns, each difference its 95 % interval. Excluded trials are named
    and do not count.
    """
    from emberline.app import write_text
    from emberline.app.burns import archived_burns, stored_burns
    from emberline.app.comparing import compare_by, compare_groups
    from emberline.cli.compared import show_comparison
    from emberline.reports.wording import COMPARED, RESULTS
    from emberline.service.series_standing import rule_kept, standing_of
    from emberline.trials.comparison.document import comparison_document

    if bool(by) + bool(groups) + (series is not None) != 1 or (where and not by):
        raise click.UsageError("say one of --by FACTOR (with --where where you like), --series and --group")
    unknown = [name for name in results if name not in RESULTS]
    if unknown:
        raise click.UsageError(f"there is no result {unknown[0]!r}; the results are: {', '.join(RESULTS)}")
    if wish is not None and (len(results) != 1 or not wish > 0.0):
        raise click.UsageError("--wish is an amount above zero, and goes with exactly one --result")
    if archive is not None and data is not None:
        raise click.UsageError(EITHER)
    names, rule = results or COMPARED, None
    with progress(None) as stage:
        burns = stored_burns(data_folder(data), stage) if archive is None else archived_burns(archive, stage)
        if series is not None:
            planned = standing_of(burns.reader, series).series
            names = tuple(dict.fromkeys((planned.result, *names)))
            found = compare_by(burns, planned.factors, names, series=series)
            rule = rule_kept(planned, found)
        elif by:
            found = compare_by(burns, by, names, where)
        else:
            chosen = {name: [one.strip() for one in trials.split(",")] for name, trials in groups.items()}
            found = compare_groups(burns, chosen, names)
    if card is not None:
        from emberline.app.carding import card_of_comparison
        from emberline.reports.cards import Shape

        named = title or " or ".join(found.groups)
        card_of_comparison(found, named, card, Shape.SQUARE if square else Shape.WIDE, overwrite=overwrite)
    text = json.dumps(comparison_document(found), ensure_ascii=False, allow_nan=False, indent=2) + "\n"
    if json_file == "-":
        echo_utf8(text)
        return
    if json_file is not None:
        write_text(Path(json_file), text)
    show_comparison(found, wish, rule)
