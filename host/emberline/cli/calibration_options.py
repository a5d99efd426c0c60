"""The options of `emberline calibrate`: which bench, which channel, which masses, and who asks."""

import functools
import getpass
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from emberline.cli.burns import data_folder
from emberline.cli.telling import bench_option, data_option, telling

if TYPE_CHECKING:
    from emberline.app.calibrating import Session, Where

SURE_TO_G = 1.0
"""Half-width of a mass's error where a person says nothing: kitchen scales show whole grams."""
MOST_MASSES = 12


@dataclass(frozen=True)
class Asked:
    """Which bench is meant, and who asks.

    Attributes:
        folder: Data directory.
        bench: Id of the bench, where a daemon records several.
        where: Where it is, if no daemon records it yet.
        who: Who asks.
    """

    folder: Path
    bench: str | None
    where: "Where"
    who: str

    def do(self, work: Callable[["Session"], Sequence[str]]) -> None:
        """Do something with the bench, and say what came of it."""
        from emberline.app.calibrating import on_bench

        for words in on_bench(self.folder, self.bench, self.where, work):
            click.echo(words)


def bench_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add the options that say which bench is meant and who asks, and hand them over as one."""

    @telling
    @functools.wraps(command)
    def with_asked(
        *,
        bench: str | None,
        data: Path | None,
        bench_file: Path | None,
        port: str | None,
        broker: str | None,
        speed: float,
        by: str | None,
        **others: object,
    ) -> None:
        from emberline.app.calibrating import Where

        where = Where(bench_file, port, broker, speed)
        command(Asked(data_folder(data), bench, where, name_of(by)), **others)

    added: Callable[..., None] = with_asked
    for option in (
        click.option("--by", metavar="NAME", help="Who does it.  [default: your name on this machine]"),
        click.option(
            "--speed", type=click.FloatRange(0.1, 1000.0), default=1.0, hidden=True, help="For a simulated bench."
        ),
        click.option("--broker", metavar="HOST[:PORT]", help="MQTT broker of a bench that no daemon records yet."),
        click.option("--port", metavar="PATH", help="Serial port of a bench that no daemon records yet."),
        click.option(
            "--bench-file",
            type=click.Path(path_type=Path),
            metavar="FILE",
            help="Bench file of a bench that no daemon records yet.",
        ),
        bench_option,
        data_option,
    ):
        added = option(added)
    return added


def role_option(roles: Sequence[str], what: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Return the option that says which of several channels is meant."""
    return click.option("--role", type=click.Choice(roles), default=roles[0], show_default=True, help=what)


sure_option = click.option(
    "--sure-to",
    type=click.FloatRange(min=0.0, min_open=True),
    metavar="G",
    help="How far off a mass may be, plus or minus: 0.05 for 1 kg of class M1, 1 as kitchen scales show.  [default: 1]",
)


def read_masses(text: str) -> list[float]:
    """Return the masses that a person wrote with commas between."""
    try:
        masses_g = [float(part) for part in text.split(",")]
    except ValueError as error:
        raise click.BadParameter(f"{text!r}: write grams with commas between, such as 0,1000,500,0") from error
    if len(masses_g) > MOST_MASSES:
        raise click.BadParameter(f"at most {MOST_MASSES} loads, please")
    return masses_g


def asked_masses() -> list[float]:
    """Ask for one or two masses."""
    largest = click.prompt("Your largest known mass, g", type=click.FloatRange(min=0.0, min_open=True))
    middle = click.prompt("A second one, about half of it, g (0: none)", type=click.FloatRange(min=0.0), default=0.0)
    return [0.0, largest, *([middle] if middle else []), 0.0]


def half_width_g(given_g: float | None, *, asked: bool) -> float:
    """Return how far off a mass may be: as given, else as asked for, else what is usual."""
    if given_g is not None:
        return given_g
    if not asked:
        return SURE_TO_G
    return float(
        click.prompt(
            "How far off may they be, ± g",
            type=click.FloatRange(min=0.0, min_open=True),
            default=SURE_TO_G,
        )
    )


def name_of(by: str | None) -> str:
    """Return the name of who asks; the name on this machine where none is given."""
    return getpass.getuser() if by is None else by
