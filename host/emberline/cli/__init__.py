"""The command line. Only click is imported here; everything heavy waits until a command runs."""

import os

import click

from emberline.cli.archiving import archive, reanalyse
from emberline.cli.bench_files import check, init
from emberline.cli.burns import export, summary, trials
from emberline.cli.calibrating import calibrate
from emberline.cli.carding import card
from emberline.cli.comparing import compare
from emberline.cli.completing import completion
from emberline.cli.demo import demo
from emberline.cli.doctor import doctor
from emberline.cli.figures import figure
from emberline.cli.importing import import_
from emberline.cli.keeping import backup, status
from emberline.cli.linking import link
from emberline.cli.live import acknowledge, arm, end, note, run, watch
from emberline.cli.ordering import order
from emberline.cli.planning import plans
from emberline.cli.streams import fit_streams
from emberline.cli.telling import CODES, Program, epilog
from emberline.cli.versions import version_option

ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")
"""Variables that limit the threads of linear algebra, read once, as numpy is imported."""


@click.group(
    cls=Program,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog=epilog("emberline import burn.csv --plan plan.toml", *CODES),
)
@version_option
def main() -> None:
    """Find boil and flameout in the curves of a small wood-gas stove, and what its heat did.

    A burn's temperatures and mass go in; out come its events, burning rate, firepower and efficiency, each with an
    honest uncertainty. Never leave a lit stove alone: carbon monoxide, fire, scalds, hot char.
    """
    # Small matrices lose by threads, which take time from the readings too. What a command starts inherits this.
    for variable in ONE_THREAD:
        os.environ.setdefault(variable, "1")
    fit_streams()


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
    plans,
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
    completion,
):
    main.add_command(command)
