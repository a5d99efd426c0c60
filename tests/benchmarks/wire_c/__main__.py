"""`deploy/bench wire_c`: a million random messages through both codecs, and a fuzzer's input through the one in C."""

import random
import shutil
import tempfile
import time
from pathlib import Path

import click
from rich.console import Console
from rich.progress import Progress
from rich.table import Table

from benchmarks.wire_c.compare import Tally
from benchmarks.wire_c.examples import examples
from wire_c_fixture import build, fuzz

MESSAGES, EXECUTIONS = 1_000_000, 20_000_000
AT_A_TIME = 20_000
FUZZ_AT_A_TIME = 1_000_000


@click.command()
@click.option("--messages", type=click.IntRange(1), default=MESSAGES, show_default=True, help="Random messages.")
@click.option("--executions", type=click.IntRange(1), default=EXECUTIONS, show_default=True, help="Fuzzed inputs.")
@click.option("--seed", default=1, show_default=True, help="Another seed gives other messages and inputs.")
def main(*, messages: int, executions: int, seed: int) -> None:
    """Hold the C codec to the Python codec on random messages and on damaged ones, then fuzz it.

    The C code is compiled with checks of memory and of undefined behaviour, and stops at the first fault. Exit code 1
    if it does, or if the codecs do not agree.
    """
    compiler = shutil.which("gcc")
    if compiler is None:
        raise click.ClickException("no gcc on this machine: deploy/debian-packages gcc libc6-dev")
    console, tally = Console(), Tally()
    with tempfile.TemporaryDirectory() as name, Progress(console=Console(stderr=True)) as progress:
        tell, fuzzer = build(compiler, "tell", Path(name)), build(compiler, "fuzz", Path(name))
        dice = random.Random(seed)
        task, start_s = progress.add_task("comparing", total=messages), time.monotonic()
        for done in range(0, messages, AT_A_TIME):
            tally.batch(tell, dice, min(AT_A_TIME, messages - done))
            progress.advance(task, AT_A_TIME)
        compared_s = time.monotonic() - start_s
        task, start_s = progress.add_task("fuzzing", total=executions), time.monotonic()
        frames = read = 0
        for done in range(0, executions, FUZZ_AT_A_TIME):
            counted = fuzz(fuzzer, examples(), min(FUZZ_AT_A_TIME, executions - done), seed + done)
            frames, read = frames + counted.frames, read + counted.messages
            progress.advance(task, FUZZ_AT_A_TIME)
        fuzzed_s = time.monotonic() - start_s
    table = Table("what", "count")
    table.add_row("random messages, read with the same fields and written with the same bytes", f"{tally.equal:,}")
    table.add_row("damaged bodies, both take them for the same message", f"{tally.taken:,}")
    table.add_row("damaged bodies, both refuse them", f"{tally.refused:,}")
    table.add_row("damaged bodies, only Python refuses them (texts and tags that are skipped)", f"{tally.stricter:,}")
    table.add_row("bodies of several messages, both read the same", f"{tally.together:,}")
    table.add_row("the codecs do not agree", f"{len(tally.different):,}")
    table.add_section()
    table.add_row("fuzzed inputs", f"{executions:,}")
    table.add_row("frames whole among them; messages sound among them", f"{frames:,}; {read:,}")
    table.add_section()
    table.add_row("seconds of comparing; of fuzzing", f"{compared_s:,.0f}; {fuzzed_s:,.0f}")
    console.print(table)
    for words in tally.different[:20]:
        console.print(words, highlight=False, markup=False)
    if tally.different:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
