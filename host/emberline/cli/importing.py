"""The command `import`."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from emberline.cli.burns import data_folder
from emberline.cli.streams import echo_utf8
from emberline.cli.telling import SOME_FAILED, data_option, epilog, pairs, progress, telling

if TYPE_CHECKING:
    from emberline.app.burn_files import BurnFile


@click.command(
    name="import",
    epilog=epilog("emberline import burn.csv --plan plan.toml --column t_s=time --column mass=scale_g", 4, SOME_FAILED),
)
@click.argument("csv", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="CSV...")
@click.option(
    "--plan",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="What you know of the burn (TOML), or of many burns, a row each (CSV).  [default: burn.toml for burn.csv, else"
    " the row of plans.csv beside it]",
)
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
    csv: tuple[Path, ...],
    plan: Path | None,
    bench: Path | None,
    columns: dict[str, str],
    label: str | None,
    json_file: str | None,
    data: Path | None,
) -> None:
    """Make trials of recorded burns.

    CSV is a table of anyone's making, a zip that `emberline export` wrote, or a folder of them; name as many as you
    like. In a table: time in seconds, ISO 8601 or epoch; comma, semicolon or tab; decimal points or commas. A time and
    one of mass and water are enough. What cannot be read is set aside and counted. The same readings stay one trial,
    however often they come: it is given what a plan says anew, or left alone.
    """
    from emberline.app.burn_files import burn_files

    alone = len(csv) == 1 and not csv[0].is_dir()
    if not alone and (label or json_file):
        raise click.UsageError("--label and --json are about one recording: name one file")
    files = burn_files(csv, plan)
    if alone:
        _import_one(files[0], data_folder(data), columns, bench, label, json_file)
        return
    failed = _import_all(files, data_folder(data), columns, bench)
    if failed:
        raise click.exceptions.Exit(SOME_FAILED)


def _import_one(
    file: "BurnFile",
    data: Path,
    columns: Mapping[str, str],
    bench: Path | None,
    label: str | None,
    json_file: str | None,
) -> None:
    from emberline import app
    from emberline.app.importing import Standing, import_burn
    from emberline.cli.terminal import show_summary

    if file.problem is not None:
        raise file.problem
    with progress(4) as stage:
        done = import_burn(file.source, data, columns, file.plan_text, bench_file=bench, label=label, stage=stage)
    if done.standing is not Standing.NEW:
        click.echo(f"{file.source.name} is trial {done.trial.id}, {done.standing.value}.", err=True)
    if not done.trial.plan_text:
        click.echo(f"{file.source.name} was imported{_without_plan(file.source)}.", err=True)
    if json_file == "-":
        for remark in done.trial.remarks:
            click.echo(remark, err=True)
        echo_utf8(done.text)
        return
    if json_file is not None:
        app.write_text(Path(json_file), done.text)
    show_summary(done)


def _import_all(files: "Sequence[BurnFile]", data: Path, columns: Mapping[str, str], bench: Path | None) -> int:
    """Import files one after the other, say what became of each, and return how many could not be."""
    from collections import Counter

    from emberline.app.importing import import_burn
    from emberline.bench.errors import BenchError
    from emberline.config import ConfigError
    from emberline.links.errors import LinkError
    from emberline.store.errors import PackError

    counts: Counter[str] = Counter()
    # Said when the progress bar is gone, which what is printed meanwhile would tear.
    said: list[tuple[str, bool]] = []
    with progress(len(files)) as stage:
        for number, file in enumerate(files, 1):
            stage(f"{file.source.name}, {number} of {len(files)}")
            try:
                if file.problem is not None:
                    raise file.problem
                done = import_burn(file.source, data, columns, file.plan_text, bench_file=bench)
            except (BenchError, ConfigError, LinkError, PackError) as exc:
                # These are about one file; a store that cannot be used is about all of them.
                counts["failed"] += 1
                told = "" if file.source.name in str(exc) else f"{file.source.name}: "
                said.append((f"Error: {told}{exc}", True))
                continue
            counts[done.standing.value] += 1
            bare = "" if done.trial.plan_text else _without_plan(file.source)
            said.append((f"{file.source.name}: trial {done.trial.id}, {done.standing.value}{bare}", False))
    for line, is_error in said:
        click.echo(line, err=is_error)
    sums = "; ".join(f"{count} {what}" for what, count in counts.items())
    click.echo(f"{len(files)} {'recording' if len(files) == 1 else 'recordings'}: {sums}.")
    return counts["failed"]


def _without_plan(source: Path) -> str:
    """Say that a recording has no plan, and how to use one beside it that goes by another name."""
    other, own = source.with_name("plan.toml"), source.with_suffix(".toml").name
    if not other.is_file():
        return ", without a plan"
    return f", without a plan: if {other} is its own, name that {own} or give --plan {other}, and import again"
