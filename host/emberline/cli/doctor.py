"""`emberline doctor`: finds a board, listens to it, and says in plain words what looks wrong."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from emberline.cli.streams import can_draw
from emberline.cli.telling import epilog, pairs, telling

if TYPE_CHECKING:
    from emberline.app.examining import Examination, Examined, Report

TOUCH_S = 8.0


@click.command(epilog=epilog("emberline doctor --write bench.toml"))
@click.option("--port", metavar="PATH", help="Serial port.  [default: the only board on USB]")
@click.option("--bench", type=click.Path(path_type=Path), metavar="FILE", help="A bench file whose board is examined.")
@click.option(
    "--baud", type=click.IntRange(1_200, 4_000_000), metavar="BITS", help="Bits a second.  [default: all common speeds]"
)
@click.option(
    "--seconds",
    type=click.FloatRange(2.0, 600.0),
    default=10.0,
    show_default=True,
    metavar="SECONDS",
    help="How long to listen. Leave the bench alone meanwhile.",
)
@click.option(
    "--column",
    "columns",
    multiple=True,
    callback=pairs,
    metavar="ROLE=NAME",
    help="What a channel is: its column from 1, its label, or its name on the device; t_s for the time. Repeatable.",
)
@click.option("--touch", is_flag=True, help="Ask you to warm each probe and to press on the load cell, too.")
@click.option(
    "--write", "target", type=click.Path(path_type=Path), metavar="FILE", help="Write a bench file for what was found."
)
@telling
def doctor(
    port: str | None,
    bench: Path | None,
    baud: int | None,
    seconds: float,
    columns: dict[str, str],
    touch: bool,
    target: Path | None,
) -> None:
    """Find a board and say what looks wrong.

    It is listened to for some seconds, whose readings tell of its sensors. It may send frames or print lines of text,
    whatever its speed. Shown are what comes raw, its noise, drift and faults; with --write, a bench file is written
    from it, in which every guess has a remark.
    """
    from emberline.app.examining import Examination, choose_board
    from emberline.app.output import refuse_existing

    if target is not None:
        refuse_existing(target)
    board = choose_board(port, bench)
    click.echo(f"Port: {board.why}")
    with Examination(board, columns) as examination:
        examination.find_speech(baud, lambda words: click.echo(f"  {words}"))
        with _counting("listening", seconds) as told:
            report = examination.listen(seconds, told)
        show_report(report)
        if touch:
            touch_each(examination, report)
        if target is not None:
            examination.write_proposal(target)
            click.echo(f"Wrote {target}. Read its remarks, then: emberline run --bench {target}")
        elif bench is None:
            click.echo("The bench file for it; --write FILE writes it:\n")
            click.echo("".join(f"    {line}\n" for line in examination.proposal("bench").splitlines()))


def show_report(report: "Report") -> None:
    """Print what was found, the channels first."""
    from rich.text import Text

    from emberline.cli.terminal import printing, table_of

    click.echo(f"It sends {report.spoken}.")
    for remark in report.remarks:
        click.echo(f"  {remark}")
    click.echo()
    with printing() as out:
        table = table_of("channel", "taken for", "raw", "value", "readings a s", "noise", "drift a minute", "faults")
        for one in report.channels:
            table.add_row(*map(Text, _row(one)))
        out.print(table)
    click.echo()
    for one in report.channels:
        if one.role is not None and one.reason.startswith("a guess"):
            click.echo(f"{one.name} is taken for {one.role.value}, {one.reason}. --column says otherwise.")
        elif one.role is None:
            click.echo(f"Nobody can tell what {one.name} is; --column ROLE={one.name} says it.")
    for finding in report.findings:
        mark = "!" if finding.sure else "?"
        click.echo(f"{mark} {finding.channel}: {finding.problem}. In these seconds {finding.text}.")
        click.echo(f"  {_capital(finding.advice)}.")
    if not any(finding.sure for finding in report.findings):
        click.echo("Nothing is surely wrong in these seconds. What only a hand can tell, --touch asks for.")
    click.echo()


def _row(one: "Examined") -> tuple[str, ...]:
    measured, signal = one.measured, one.signal
    known = signal.scale == signal.scale  # not NaN
    unit = {"c": "°C", "g": "g", "pa": "Pa", "ppm": "ppm"}.get(signal.unit, "") if known else "counts"
    size = signal.scale if known else 1.0
    step = "K" if unit == "°C" else unit

    def shown(number: float | None, words: str) -> str:
        return "-" if number is None else f"{number:,.3g} {words}".strip()

    value = None if measured.middle is None or not known else (measured.middle - signal.zero) * size
    return (
        one.name,
        "-" if one.role is None else one.role.value,
        "-" if measured.middle is None else f"{measured.middle:,.10g}",
        "-" if value is None else f"{value:,.1f} {unit}",
        shown(measured.rate_hz, ""),
        shown(None if measured.noise is None else measured.noise * abs(size), step),
        shown(None if measured.per_minute is None else measured.per_minute * size, step),
        f"{100.0 * measured.faulty:.0f} %" if measured.faulty else "none",
    )


def touch_each(examination: "Examination", report: "Report") -> None:
    """Have each probe warmed and the load cell pressed, and say how it answers."""
    from emberline.curves.checkup.signal import Nature

    asked: dict[Nature, str] = {
        Nature.THERMOCOUPLE: "Hold the tip of probe {} in your hand",
        Nature.BRIDGE: "Press gently on load cell {}",
    }
    if any(one.signal.nature is Nature.THERMOCOUPLE for one in report.channels):
        click.echo("! Touch a tip only on a bench that has been cold for hours: a shorted probe hides a hot one.")
    for one in report.channels:
        words = asked.get(one.signal.nature)
        if words is None:
            continue
        name = one.name if one.role is None or one.role.value == one.name else f"{one.role.value} ({one.name})"
        click.echo(f"{words.format(name)}, until it says otherwise. Enter when you are there, s to skip. ", nl=False)
        if sys.stdin.readline().strip() == "s":
            continue
        with _counting("hold on", TOUCH_S) as told:
            answer = examination.touch(one.name, TOUCH_S, told)
        click.echo(f"{' ' if answer.well else '!'} {name} {answer.text}.")
    click.echo()


@contextmanager
def _counting(words: str, seconds: float) -> Iterator[Callable[[float], None]]:
    """Show on a terminal how long it takes yet."""
    from rich.console import Console

    console = Console(stderr=True)
    if not can_draw(console):
        yield lambda _: None
        return
    with console.status(f"{words}, {seconds:.0f} s") as status:
        yield lambda left_s: status.update(f"{words}, {left_s:.0f} s")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
