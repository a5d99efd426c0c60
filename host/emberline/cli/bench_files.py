"""Commands about the files that a person writes: `init` and `check`."""

import re
from pathlib import Path

import click

from emberline.cli.telling import epilog, progress, telling

_OF_A_BENCH = re.compile(r"^\s*(\[\[?\s*(channel|serial|mqtt|trial)\b|id\s*=)", re.MULTILINE)


@click.command(epilog=epilog("emberline init bench.toml"))
@click.argument("file", type=click.Path(path_type=Path), default=Path("bench.toml"))
@telling
def init(file: Path) -> None:
    """Write a commented bench file to start from.

    FILE is bench.toml if not given; an existing file is left alone.
    """
    from emberline.app import write_bench_file

    write_bench_file(file)
    click.echo(f"Wrote {file}: describe your sensors there, then: emberline check {file}")


@click.command(epilog=epilog("emberline check plan.toml", 3, 4))
@click.argument("file", type=click.Path(path_type=Path), default=Path("bench.toml"))
@telling
def check(file: Path) -> None:
    """Say what is wrong with a file or a store.

    FILE is a bench file, a plan or a table of plans, whose problems are told one by one, or a data folder, a store or a
    backup, which is read from end to end, also while it records. Its content tells which kind it is, but for a table,
    which ends in .csv; bench.toml if not given.
    """
    from emberline.app import check_store, is_store
    from emberline.app.plan_tables import TABLE_SUFFIX
    from emberline.config import load_bench, load_plan, load_plan_table, read_text

    store = is_store(file)
    if store is not None:
        with progress(None) as stage:
            stage(f"reading all of {store}")
            trials, samples = check_store(store)
        click.echo(f"{store} is in order; trials: {trials}, samples: {samples:,}")
    elif file.suffix.lower() == TABLE_SUFFIX:
        click.echo(f"{file}: the table is in order; plans: {len(load_plan_table(file))}")
    elif _OF_A_BENCH.search(read_text(file, "file")):
        bench = load_bench(file)
        channels = ", ".join(channel.name for channel in bench.channels)
        click.echo(f"{file}: bench {bench.id} is in order; channels: {channels}")
    else:
        plan = load_plan(file)
        click.echo(f"{file}: the plan is in order" + (f"; label: {plan.label}" if plan.label else ""))
