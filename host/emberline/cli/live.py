"""Commands about a running bench: `run`, `watch`, `arm`, `note` and `end`."""

import os
from pathlib import Path

import click

from emberline.cli.names import series_names
from emberline.cli.telling import INTERRUPTED, bench_option, data_option, epilog, telling


def _data(option: Path | None) -> Path:
    from emberline.config import data_directory

    return data_directory(option, os.environ)


@click.command(epilog=epilog("emberline run --bench bench.toml --data burns-2026", 4, 6))
@click.option(
    "--bench",
    "benches",
    type=click.Path(path_type=Path),
    multiple=True,
    metavar="FILE",
    help="Your sensors and your port (TOML); once for each bench, or a folder of such files.",
)
@click.option("--port", metavar="PATH", help="Serial port, instead of the bench file's; where there is one bench.")
@click.option("--broker", metavar="HOST[:PORT]", help="MQTT broker of all benches, instead of the bench files'.")
@click.option(
    "--shard",
    metavar="N/ALL",
    help="Record this part, such as 2/8, of all benches on the broker; as many daemons record each of them once. Bench"
    " files of others are passed over, and a bench without one is taken as its device describes it.",
)
@click.option(
    "--speed",
    type=click.FloatRange(min=0.1, max=1000.0),
    default=1.0,
    show_default=True,
    metavar="TIMES",
    help="Seconds of the bench in a second; for a simulated bench at the same speed.",
)
@click.option("--log", type=click.Path(path_type=Path), metavar="FILE", help="Log into a file that is kept small.")
@click.option(
    "--keep",
    type=click.FloatRange(min=0.05),
    default=7.0,
    show_default=True,
    metavar="DAYS",
    help="Age at which readings outside trials are dropped; trials are kept for ever.",
)
@click.option("--keep-all", is_flag=True, help="Drop nothing.")
@click.option(
    "--http",
    default="127.0.0.1:8437",
    show_default=True,
    metavar="HOST:PORT",
    help="Where the pages are served. On a host other than 127.0.0.1 they ask for the token in the link that is shown: "
    "0.0.0.0:8437 opens them to all devices of the network, a phone's too.",
)
@click.option("--no-http", is_flag=True, help="Serve no pages.")
@click.option(
    "--tls-certificate",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Serve the pages encrypted, with this certificate (PEM); they are https:// then.",
)
@click.option(
    "--tls-key", type=click.Path(path_type=Path), metavar="FILE", help="Its key, where it is in a file of its own."
)
@click.option(
    "--server",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A time-series server to which everything is forwarded (TOML).",
)
@click.option(
    "--alarms",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="How alarms reach you when you do not look: a command, or services (TOML).",
)
@data_option
@telling
def run(
    benches: tuple[Path, ...],
    port: str | None,
    broker: str | None,
    shard: str | None,
    speed: float,
    log: Path | None,
    keep: float,
    keep_all: bool,
    http: str,
    no_http: bool,
    tls_certificate: Path | None,
    tls_key: Path | None,
    server: Path | None,
    alarms: Path | None,
    data: Path | None,
) -> None:
    """Record one or more benches until interrupted.

    The readings are kept, the trials followed, their summaries written. A trial opens when it is armed (`emberline
    arm`) or when a fire is lit, and ends by itself half an hour after flameout or with `emberline end`. Watch it on the
    page whose address is printed, or from another terminal with `emberline watch`.
    """
    import asyncio

    from emberline import app
    from emberline.cli.logs import log_to
    from emberline.service.heaps import keep_heaps_small
    from emberline.service.last_resort import end_in_any_case
    from emberline.store.connection import take_short_turns

    keep_heaps_small()
    take_short_turns()
    log_to(log)
    address = None if no_http else app.address_of(http, tls_certificate, tls_key)
    kept = None if keep_all else keep
    asyncio.run(
        app.serve(
            _data(data),
            bench_files=benches,
            port=port,
            broker=broker,
            shard=shard,
            speed=speed,
            keep_days=kept,
            address=address,
            server_file=server,
            alarms_file=alarms,
            stopping=end_in_any_case,
            served=_told_where,
        )
    )


def _told_where(url: str) -> None:
    import sys

    from emberline.cli.linking import show_link

    click.echo("Watch and touch it:")
    address, _, secret = url.partition("?")
    if secret and not sys.stdout.isatty():
        # What a service says is kept in a journal, which others may read.
        click.echo(f"{address} (`emberline link` shows the link that lets others in)")
    else:
        show_link(url)


@click.command(epilog=epilog("emberline watch --data burns-2026", 6))
@bench_option
@data_option
@telling
def watch(bench: str | None, data: Path | None) -> None:
    """Show what a running bench does.

    It goes on until interrupted: water, flame, mass, burning rate, phase, and when boil and flameout are to be
    expected; events as they are announced. Where there is no terminal, a line each half minute and one for each event.
    """
    from itertools import chain

    from emberline.cli.readout import Readout
    from emberline.service.control_client import watch as messages

    try:
        shown = messages(_data(data), bench)
        # A refusal is an error message alone, not one below a readout that has begun.
        first = next(shown, None)
        with Readout() as readout:
            for message in () if first is None else chain((first,), shown):
                readout.show(message)
    except KeyboardInterrupt:
        click.echo("Watching has ended; the recording goes on.", err=True)
        raise click.exceptions.Exit(INTERRUPTED) from None


@click.command(epilog=epilog("emberline arm --plan plan.toml --label 'chips, run 3'", 3, 4, 6))
@click.option(
    "--plan",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="What you know of the burn (TOML), or of many burns, a row each (CSV).",
)
@click.option(
    "--row", type=click.IntRange(2), help="Row of that table, as a spreadsheet counts.  [default: that of the next run]"
)
@click.option("--label", help="A name for the trial, where the plan has none.")
@click.option("--guided", is_flag=True, help="Be asked one thing after the other, with the load cell as the balance.")
@click.option(
    "--series",
    metavar="NAME",
    shell_complete=series_names,
    help="The burn is the next run of a planned series, whose factors it takes.",
)
@bench_option
@data_option
@telling
def arm(
    plan: Path | None,
    row: int | None,
    label: str | None,
    guided: bool,
    series: str | None,
    bench: str | None,
    data: Path | None,
) -> None:
    """Open a trial, before the fire is lit.

    Where a trial was opened by a fire that nobody armed, it is given the plan. With --guided, fuel, pot and water are
    weighed on the bench's own load cell, and what is weighed after the burn enters the plan.
    """
    if guided and (plan, label) != (None, None):
        raise click.UsageError("--guided asks for what --plan and --label say: leave them out")
    if row is not None and plan is None:
        raise click.UsageError("--row says which plan of a table: name the table with --plan")
    from emberline.reports.caution import CAUTION_LINE
    from emberline.service.control_client import ask

    text = ""
    if plan is not None:
        from emberline.app.plan_tables import plan_to_arm

        text = plan_to_arm(plan, _data(data), row=row, series=series)
    if series is not None:
        from emberline.app import STORE_NAME
        from emberline.service.series_standing import plan_for_next
        from emberline.store.reader import StoreReader

        text, run = plan_for_next(StoreReader(_data(data) / STORE_NAME), series, text)
        click.echo(
            f"Run {run.number} of {series}: {', '.join(f'{name} {level}' for name, level in run.factors.items())}"
        )
    if guided:
        from emberline.cli.guided import guide

        guide(_data(data), bench, series)
        return
    answer = ask(_data(data), {"do": "arm", "bench": bench, "plan": text, "label": label})
    click.echo(f"Trial {answer['trial']} is open.")
    click.echo(CAUTION_LINE)


@click.command(epilog=epilog("emberline note 'closed two air holes'", 6))
@click.argument("text")
@bench_option
@data_option
@telling
def note(text: str, bench: str | None, data: Path | None) -> None:
    """Keep a remark with the present time.

    TEXT is the remark, in quotes where it has blanks.
    """
    from emberline.service.control_client import ask

    ask(_data(data), {"do": "note", "bench": bench, "text": text})
    click.echo("Kept.")


@click.command(epilog=epilog("emberline acknowledge --by Ada", 6))
@click.option("--by", metavar="NAME", help="Who has seen it.  [default: your name on this machine]")
@bench_option
@data_option
@telling
def acknowledge(by: str | None, bench: str | None, data: Path | None) -> None:
    """Say that you have seen a bench's alarms.

    They are told again and again until somebody does. An alarm whose cause lasts stays on the screens, and is told anew
    if it comes back after it had gone.
    """
    import getpass

    from emberline.service.control_client import ask

    who = getpass.getuser() if by is None else by
    answer = ask(_data(data), {"do": "acknowledge", "bench": bench, "who": who, "alarm": None})
    for title in answer["alarms"]:
        click.echo(f"Acknowledged: {title}")


@click.command(epilog=epilog("emberline end", 6))
@bench_option
@data_option
@telling
def end(bench: str | None, data: Path | None) -> None:
    """End the running trial; its summary follows within seconds.

    The fire itself must be seen to by you: hot char gives off carbon monoxide and stays hot for hours.
    """
    from emberline.service.control_client import ask

    answer = ask(_data(data), {"do": "end", "bench": bench})
    click.echo(f"Trial {answer['trial']} has ended. Its summary: emberline summary {answer['trial']}")
