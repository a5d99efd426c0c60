"""The command `deploy/bench kills`."""

import asyncio
import random
import tempfile
import time
from pathlib import Path

import click
from rich.console import Console
from rich.progress import Progress

from benchmarks.kills.running import Round, burn_with_kills
from benchmarks.service.verdict import at_most, tell
from broker_fixture import Broker

ALL, QUICK, EACH = 200, 20, 20


@click.command(name="deploy/bench kills")
@click.option("--quick", is_flag=True, help=f"{QUICK} kills instead of {ALL}.")
@click.option("--kills", type=click.IntRange(1), help="So many kills.")
@click.option("--in-order", is_flag=True, help="Ask it to end instead (SIGTERM): it must, with code 0, every time.")
@click.option("--seed", default=1, show_default=True, help="Another seed kills at other moments.")
@click.option(
    "--json", "json_file", type=click.Path(dir_okay=False, path_type=Path), help="Write the figures into this file."
)
def main(*, quick: bool, kills: int | None, in_order: bool, seed: int, json_file: Path | None) -> None:
    """Kill a recording daemon (SIGKILL) at random moments, and see that no sample is lost and nothing is told twice.

    Each burn takes some twenty kills, over a serial port and by way of a broker in turn: while the daemon starts, while
    it records and follows the burn, and while it works out the summary. Afterwards every sample is accounted for, the
    final pass over the stored samples gives the same bytes again, and the live announcements repeat. Exit code 1 where
    one of these fails.
    """
    wanted = kills if kills is not None else QUICK if quick else ALL
    dice = random.Random(seed)
    rounds: list[Round] = []
    began_s = time.monotonic()
    with (
        tempfile.TemporaryDirectory(prefix="emberline-kills-") as folder,
        Progress(console=Console(stderr=True)) as progress,
    ):
        task = progress.add_task("kills", total=wanted)
        while (left := wanted - sum(one.kills for one in rounds)) > 0:
            place = Path(folder) / str(len(rounds))
            broker = Broker(place / "broker") if len(rounds) % 2 else None
            rounds.append(asyncio.run(_round(place, dice, min(EACH, left), broker, in_order=in_order)))
            progress.advance(task, rounds[-1].kills)
    figures: dict[str, object] = {
        "burns": len(rounds),
        "kills": sum(one.kills for one in rounds),
        "of these, before the daemon answered": sum(one.starting for one in rounds),
        "of these, with its summary due": sum(one.summing for one in rounds),
        "samples taken": sum(one.account.taken for one in rounds),
        "samples stored": sum(one.account.stored for one in rounds),
        "minutes": (time.monotonic() - began_s) / 60.0,
    }
    bars = [
        at_most("samples unaccounted for", sum(one.account.unaccounted for one in rounds), 0),
        at_most("samples lost", sum(one.account.lost for one in rounds), 0),
        at_most("samples stored twice", sum(one.account.doubled for one in rounds), 0),
        at_most("burns that a replay finds different", sum(bool(one.replay) for one in rounds), 0),
    ]
    for one in rounds:
        if one.replay:
            click.echo(f"{one.folder.name}: {one.replay}", err=True)
    tell(f"{wanted} {'ends in order' if in_order else 'kills'}, seed {seed}", figures, bars, json_file)


async def _round(place: Path, dice: random.Random, kills: int, broker: Broker | None, *, in_order: bool) -> Round:
    if broker is not None:
        broker.start()
    try:
        return await burn_with_kills(place, dice, kills, broker, in_order=in_order)
    finally:
        if broker is not None:
            broker.kill()


if __name__ == "__main__":
    main()
