"""The command line. Only click is imported here; everything heavy waits until a command runs."""

import io
import os
import sys

import click

from emberline import __version__
from emberline.cli.archiving import archive, reanalyse
from emberline.cli.bench_files import check, init
from emberline.cli.burns import export, import_, summary, trials
from emberline.cli.calibrating import calibrate
from emberline.cli.carding import card
from emberline.cli.comparing import compare
from emberline.cli.demo import demo
from emberline.cli.doctor import doctor
from emberline.cli.figures import figure
from emberline.cli.keeping import backup, status
from emberline.cli.linking import link
from emberline.cli.live import acknowledge, arm, end, note, run, watch
from emberline.cli.ordering import order
from emberline.cli.telling import InOrder

ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")
"""Variables that limit the threads of linear algebra, read once, as numpy is imported."""


@click.group(
    cls=InOrder,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Example: emberline import burn.csv --plan plan.toml, then: emberline summary last --open",
)
@click.version_option(__version__, message="%(prog)s %(version)s")
def main() -> None:
    """Find boil and flameout in the curves of a small wood-gas stove, and what its heat did.

    A burn's temperatures and mass go in; out come its events, burning rate, firepower and efficiency, each with an
    honest uncertainty. Never leave a lit stove alone: carbon monoxide, fire, scalds, hot char.
    """
    # Small matrices lose by threads, which take time from the readings too. What a command starts inherits this.
    for variable in ONE_THREAD:
        os.environ.setdefault(variable, "1")
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a sign gets a question mark instead of an error.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


for command in (
    demo,
    doctor,
    init,
    check,
    calibrate,
    run,
    status,
    link,
    watch,
    arm,
    note,
    acknowledge,
    end,
    import_,
    trials,
    summary,
    compare,
    order,
    card,
    figure,
    export,
    backup,
    archive,
    reanalyse,
):
    main.add_command(command)
