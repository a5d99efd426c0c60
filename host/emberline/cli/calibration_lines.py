"""What `emberline calibrate` says while it goes on, and of what was found."""

from typing import TYPE_CHECKING

import click

from emberline.cli.streams import can_draw

if TYPE_CHECKING:
    from emberline.app.calibrating import Session
    from emberline.bench.findings import Finding
    from emberline.trials.calibrating.bath import BathWatch
    from emberline.trials.calibrating.load_steps import LoadSteps


class Loads:
    """Says what is to be laid on next, and what was taken."""

    def __init__(self) -> None:
        self._told = -1

    def __call__(self, steps: "LoadSteps") -> None:
        """Say what is new since the last time."""
        if self._told < steps.taken:
            if steps.taken:
                line("")
                one = steps.loads[-1]
                click.echo(f"  Taken: {one.counts:.0f} counts ± {one.u_counts:.1f} for {one.load_g:g} g.")
            self._told = steps.taken
            if not steps.done:
                click.echo(_wanted(steps))
        if not steps.done and steps.level is not None:
            state = "steady" if steps.level.steady else "it moves"
            line(f"{steps.level.mean_g * steps.counts_per_unit:.0f} counts, {state}")


class Tip:
    """Says what a probe shows until it has settled."""

    def __call__(self, watch: "BathWatch") -> None:
        """Say what it shows now."""
        now = "a fault" if watch.now_c is None else f"{watch.now_c:.2f} °C"
        line("" if watch.mean_c is not None else f"{now}, moved by {min(watch.moves_c, 99.0):.2f} K in half a minute")


def _wanted(steps: "LoadSteps") -> str:
    if not steps.taken:
        return "Take everything off the load cell, and let it rest."
    if steps.wanted_g == 0.0:
        return "Take it off again, and let the cell rest."
    return f"Lay {steps.wanted_g:g} g in the middle, and take your hands away."


def line(words: str) -> None:
    """Show where things are, in a line that is written over; only on a terminal."""
    from rich.console import Console

    if can_draw(Console()):
        click.echo(f"\r\x1b[2K  {words}" if words else "\r\x1b[2K", nl=False)


def now_words(session: "Session") -> str:
    """Say how warm the cell is, and what it shows."""
    from emberline.bench.channels import Role

    cell, zero = session.newest(Role.CELL_TEMPERATURE), session.newest(Role.MASS)
    parts = ["cell not known" if cell is None else f"cell {cell:.1f} °C"]
    return ", ".join([*parts, *([] if zero is None else [f"it shows {zero:.1f} g"])])


def found_words(one: "Finding") -> str:
    """Say in a line what a calibration or check found."""
    from emberline.bench.findings import CellCheck
    from emberline.bench.mass_fit import MassFit
    from emberline.bench.probe_fit import ProbeFit

    found = one.found
    if isinstance(found, MassFit):
        masses = ", ".join(f"{load.load_g:g}" for load in found.loads)
        return f"mass, {found.counts_per_g:.3f} counts/g ± {200.0 * found.u_span:.3f} %, with {masses} g"
    if isinstance(found, ProbeFit):
        baths = " and ".join(bath.bath for bath in found.baths)
        return f"probe, {found.correction_c:+.2f} ± {2.0 * found.u_correction_c:.2f} °C, in {baths}"
    if isinstance(found, CellCheck):
        doubt = ", more than it should" if found.in_doubt else ""
        return f"check, {found.shown_g:.1f} g for {found.known_g:g} g{doubt}"
    return f"drift, {found.g_per_k:+.3f} ± {2.0 * found.u_g_per_k:.3f} g/K over {found.rise_k:.1f} K"
