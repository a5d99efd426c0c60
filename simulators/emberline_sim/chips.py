"""What the converter chips of a bench see during a burn, line by line, for a board on an emulated core.

`python -m emberline_sim.chips --scenario weak_stall | emulated_bench --firmware bench.elf --port port --speed 20`
"""

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TextIO

import click

from emberline_sim.device.converters import Block, Converter
from emberline_sim.device.wiring import wire
from emberline_sim.errors import SimError
from emberline_sim.files import write_plan, write_truth
from emberline_sim.recording import record
from emberline_sim.scenario import load_scenario
from emberline_wire import Kind


def chip_lines(
    converters: Sequence[Converter], blocks: Iterable[Block], happenings: Iterable[str] = ()
) -> Iterator[str]:
    """Yield the lines of a burn in order of time, without their ends.

    A line is a time in microseconds, the channel's name, its value and its fault bits. A bridge converter's value is a
    conversion's code; any other's is what its sensor has, in degrees.

    Args:
        converters: The bench's channels.
        blocks: Its readings, those of one stretch of time after those of another.
        happenings: Further lines, in order of time.

    """
    by_name = {converter.channel.name: converter.channel for converter in converters}
    further = [(int(line.split()[0]), line) for line in happenings]
    waiting: list[tuple[int, str]] = []
    for block in blocks:
        start_us = round(float(block.t_s[0]) * 1e6)
        ready = [line for line in waiting if line[0] < start_us]
        yield from _merged(ready, further)
        waiting = [line for line in waiting if line[0] >= start_us]
        channel = by_name[block.channel]
        for t_s, raw, faults in zip(block.t_s.tolist(), block.raw.tolist(), block.faults.tolist(), strict=True):
            counts = channel.kind is Kind.BRIDGE_COUNTS
            value = str(raw) if counts else f"{(raw - channel.zero) * channel.scale:.6f}"
            waiting.append((round(t_s * 1e6), f"{round(t_s * 1e6)} {channel.name} {value} {faults}"))
    yield from _merged(waiting, further)
    yield from (line for _, line in further)


def _merged(ready: list[tuple[int, str]], further: list[tuple[int, str]]) -> Iterator[str]:
    for at_us, line in sorted(ready):
        while further and further[0][0] <= at_us:
            yield further.pop(0)[1]
        yield line


@click.command()
@click.option("--scenario", required=True, metavar="NAME", help="Packaged scenario, or a path that ends in .toml.")
@click.option("--seed", type=int, help="Seed of the burn, instead of the scenario's own.")
@click.option("--brown-out", type=float, multiple=True, help="When the supply drops, seconds of the burn.")
@click.option(
    "--write-files",
    type=click.Path(file_okay=False, path_type=Path),
    help="Write plan.toml and truth.json of the burn into this folder.",
)
@click.option("--to", type=click.File("w"), default="-", help="File for the lines, instead of the standard output.")
def main(scenario: str, seed: int | None, brown_out: tuple[float, ...], write_files: Path | None, to: TextIO) -> None:
    """Write what the converter chips of a bench see during a burn, line by line, for a board on an emulated core."""
    try:
        recording = record(load_scenario(scenario, seed=seed))
        if write_files is not None:
            write_files.mkdir(parents=True, exist_ok=True)
            write_plan(recording, write_files / "plan.toml")
            write_truth(recording, write_files / "truth.json")
        happenings = [f"{round(at_s * 1e6)} brown-out" for at_s in sorted(brown_out)]
        for line in chip_lines(*wire(recording), happenings):
            to.write(line + "\n")
    except (SimError, OSError) as error:
        raise click.UsageError(str(error)) from error


if __name__ == "__main__":
    main()
