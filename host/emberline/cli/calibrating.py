"""The commands `emberline calibrate …`: known masses, ice and boiling water, a warm-up run, a check, the history."""

import sys
from math import sqrt
from pathlib import Path
from typing import TYPE_CHECKING

import click

from emberline.cli.burns import data_folder
from emberline.cli.calibration_lines import Loads, Tip, found_words, line, now_words
from emberline.cli.calibration_options import (
    Asked,
    asked_masses,
    bench_options,
    half_width_g,
    name_of,
    read_masses,
    role_option,
    sure_option,
)
from emberline.cli.names import trial_names
from emberline.cli.telling import InOrder, bench_option, data_option, epilog, progress, telling

if TYPE_CHECKING:
    from emberline.app.calibrating import Session


CELLS = ("mass", "pot_mass")
PROBES = ("water", "flame", "ambient")
BATHS = ("ice", "boiling")


@click.group(cls=InOrder, epilog=epilog("emberline calibrate mass", 3, 4, 6))
def calibrate() -> None:
    """Calibrate and check load cell and probes.

    It takes known masses, ice and boiling water; nothing burns meanwhile. What is found holds from then on, in place of
    the bench file's, and is kept for ever with its date. It works on the bench that a daemon records, or opens one that
    is named with --bench-file, --port or --broker.
    """


@calibrate.command(epilog=epilog("emberline calibrate mass --masses 0,1000,500,0 --sure-to 0.05", 4, 6))
@click.option(
    "--masses",
    metavar="G,G,...",
    help="What is laid on, in order, from the empty cell back to the empty cell; asked for if not given.",
)
@sure_option
@role_option(CELLS, "Which load cell.")
@click.option("--new-cell", is_flag=True, help="Cell or converter are other ones: do not compare with before.")
@bench_options
def mass(
    asked: Asked,
    masses: str | None,
    sure_to: float | None,
    role: str,
    new_cell: bool,
) -> None:
    """Calibrate a load cell with known masses.

    They are laid on in order: none, the largest, one in the middle, and none again. Each is taken by itself once it
    rests, so both hands are free. Best is a mass near what stove, fuel and pot weigh together. Let the electronics warm
    up for half an hour first, and shelter the bench.
    """
    from emberline.app import calibrating as app
    from emberline.bench.channels import Role

    masses_g = asked_masses() if masses is None else read_masses(masses)
    half_g = half_width_g(sure_to, asked=masses is None)

    def work(session: "Session") -> list[str]:
        session.expect_no_trial()
        u_g = [half_g / sqrt(3.0) if mass_g else 0.0 for mass_g in masses_g]
        steps = app.weigh(session, Role(role), masses_g, u_g, Loads())
        fit = app.calibrated_mass(session, Role(role), steps, new_cell=new_cell)
        number = session.keep(session.channel(Role(role)), fit, asked.who)
        repeat = "" if fit.repeatability_g is None else f", repeatability {fit.repeatability_g:.2f} g"
        return [
            f"Slope {fit.counts_per_g:.3f} counts/g ± {200.0 * fit.u_span:.3f} % (95 %)",
            f"Zero {fit.zero_counts:.0f} counts ± {2.0 * fit.u_zero_g:.2f} g (95 %)",
            f"Linearity {fit.linearity_g:.2f} g, hysteresis {fit.hysteresis_g:.2f} g{repeat}",
            f"Kept as calibration {number}; it holds from now on.",
        ]

    asked.do(work)


@calibrate.command(epilog=epilog("emberline calibrate probe --bath boiling --altitude-m 240", 4, 6))
@click.option(
    "--bath",
    "baths",
    type=click.Choice(BATHS),
    multiple=True,
    help="What the tip is held in, in order; may be given twice.  [default: boiling]",
)
@role_option(PROBES, "Which probe.")
@click.option(
    "--pressure-pa",
    type=click.FloatRange(30_000.0, 110_000.0),
    metavar="PA",
    help="Air pressure here, not that of the sea level.  [default: the bench's own barometer, else --altitude-m]",
)
@click.option(
    "--altitude-m",
    type=click.FloatRange(-430.0, 6000.0),
    metavar="M",
    help="Height above the sea, where nobody knows the pressure.",
)
@bench_options
def probe(
    asked: Asked,
    baths: tuple[str, ...],
    role: str,
    pressure_pa: float | None,
    altitude_m: float | None,
) -> None:
    """Compare a probe with ice or boiling water.

    The reading is taken once it has settled. For ice, fill a cup with crushed ice and a little water, and stir. For
    boiling water, wait for a full boil and hold the tip in the middle, off the bottom: mind steam and scalds. The
    boiling point follows from the pressure: that of the bench's own barometer, or given, or from the altitude.
    """
    from uncertainties import ufloat

    from emberline.app import calibrating as app
    from emberline.bench.air import Place
    from emberline.bench.channels import Role
    from emberline.bench.probe_fit import fit_probe

    place = Place(
        None if altitude_m is None else ufloat(altitude_m, 20.0),
        None if pressure_pa is None else ufloat(pressure_pa, 100.0),
    )

    def work(session: "Session") -> list[str]:
        session.expect_no_trial()
        compared = []
        for bath in baths or (BATHS[1],):
            click.echo(f"Hold the tip of the {role} probe in {'ice water' if bath == BATHS[0] else 'boiling water'}.")
            if sys.stdin.isatty():
                click.pause("Press a key once it is there.")
            compared.append(app.held_in(session, Role(role), bath, place, Tip()))
            one = compared[-1]
            click.echo(
                f"  It shows {one.shown_c:.2f} °C, and should show {one.true_c:.2f} ± {2.0 * one.u_true_c:.2f} °C."
            )
        fit = fit_probe(compared)
        number = session.keep(session.channel(Role(role)), fit, asked.who)
        grows = (
            "" if fit.grows_c is None else f"; the error differs by {fit.grows_c:+.2f} K between ice and boiling water"
        )
        return [
            f"Correction {fit.correction_c:+.2f} ± {2.0 * fit.u_correction_c:.2f} °C (95 %){grows}",
            f"Kept as calibration {number}; it holds from now on.",
        ]

    asked.do(work)


@calibrate.command(epilog=epilog("emberline calibrate drift --minutes 60", 4, 6))
@click.option(
    "--minutes",
    type=click.FloatRange(10.0, 600.0),
    default=60.0,
    show_default=True,
    metavar="MINUTES",
    help="How long the run is.",
)
@click.option("--past", is_flag=True, help="The run is the last minutes that were recorded, instead of those to come.")
@role_option(CELLS, "Which load cell.")
@bench_options
def drift(
    asked: Asked,
    minutes: float,
    past: bool,
    role: str,
) -> None:
    """Find how a load cell drifts as it warms.

    How its zero goes with its temperature is found in a run in which nothing is laid on or taken off. The bench needs a
    thermometer on the cell (role `cell_temperature`). Warm the empty bench as a burn does, by ten kelvin or so, and let
    it cool again: that shows hysteresis too. The drift is then taken off every burn.
    """
    from emberline.app import calibrating as app
    from emberline.bench.channels import Role

    def work(session: "Session") -> list[str]:
        session.expect_no_trial()
        session.channel(Role.CELL_TEMPERATURE)
        begin_ns = session.look()
        end_ns = begin_ns + int(60e9 * minutes)
        if past:
            begin_ns, end_ns = begin_ns - int(60e9 * minutes), begin_ns
        else:
            click.echo(
                f"Lay nothing on and take nothing off for {minutes:g} minutes; warm the bench, and let it cool again."
            )
        newest_ns = begin_ns
        while newest_ns < end_ns:
            newest_ns = session.look()
            line(f"{(newest_ns - begin_ns) / 6e10:.1f} of {minutes:g} min, {now_words(session)}")
        line("")
        fit = app.drifted(session, Role(role), begin_ns, end_ns)
        number = session.keep(session.channel(Role(role)), fit, asked.who)
        apart = "" if fit.hysteresis_g is None else f", hysteresis {fit.hysteresis_g:+.2f} g"
        return [
            f"Drift {fit.g_per_k:+.3f} ± {2.0 * fit.u_g_per_k:.3f} g/K (95 %) over {fit.rise_k:.1f} K{apart}",
            f"What it does not explain: {fit.residual_g:.2f} g (standard deviation)",
            f"Kept as calibration {number}; it is taken off from now on.",
        ]

    asked.do(work)


@calibrate.command(epilog=epilog("emberline calibrate check --mass 1000 --sure-to 0.05", 4, 6))
@click.option(
    "--mass",
    "mass_g",
    type=click.FloatRange(min=0.0, min_open=True),
    required=True,
    metavar="G",
    help="What is laid on, in grams.",
)
@sure_option
@role_option(CELLS, "Which load cell.")
@bench_options
def check(
    asked: Asked,
    mass_g: float,
    sure_to: float | None,
    role: str,
) -> None:
    """Check a load cell with a known mass.

    It is laid on and taken off, best on each day before the first burn; nothing is changed. What it shows is kept in
    the history. The lines that it prints may go into the plan of the day's burns, whose masses are then corrected by
    it; a guided burn asks for the same by itself.
    """
    from emberline.app import calibrating as app
    from emberline.bench.channels import Role

    half_g = half_width_g(sure_to, asked=False)

    def work(session: "Session") -> list[str]:
        steps = app.weigh(session, Role(role), [0.0, mass_g, 0.0], [0.0, half_g / sqrt(3.0), 0.0], Loads())
        found, words = app.checked_mass(session, Role(role), steps)
        number = session.keep(session.channel(Role(role)), found, asked.who)
        return [
            words,
            f"Kept as check {number}. For a plan:",
            "[load_cell]",
            f"known_g = {found.known_g:g}\nu_known_g = {max(found.u_known_g, 0.001):.3f}",
            f"shown_g = {found.shown_g:.2f}\nu_shown_g = {max(found.u_shown_g, 0.01):.2f}",
        ]

    asked.do(work)


@calibrate.command(epilog=epilog("emberline calibrate history", 3, 4))
@bench_option
@data_option
@telling
def history(bench: str | None, data: Path | None) -> None:
    """List all calibrations and checks.

    The oldest come first; those marked * hold.
    """
    from emberline.app import STORE_NAME
    from emberline.store.reader import StoreReader

    store = StoreReader(data_folder(data) / STORE_NAME)
    benches = {name: store.findings(name) for name in ([bench] if bench else store.benches())}
    if not any(benches.values()):
        click.echo("None has been made yet: emberline calibrate mass makes one.")
    for name, findings in benches.items():
        newest = {(one.channel, one.kind): one.number for one in findings if one.kind != "check"}
        for one in findings:
            mark = "*" if newest.get((one.channel, one.kind)) == one.number else " "
            by = f", by {one.who}" if one.who else ""
            click.echo(f"{mark} {one.number:>3}  {one.made}  {name} {one.channel}: {found_words(one)}{by}")


@calibrate.command(epilog=epilog("emberline calibrate apply 2026-11-25-1 2026-11-25-2", 3, 4, 6))
@click.argument("trials", nargs=-1, required=True, metavar="TRIAL...", shell_complete=trial_names)
@click.option("--as-recorded", is_flag=True, help="Go back to the calibration that held when it was recorded.")
@click.option("--by", metavar="NAME", help="Who wants it.  [default: your name on this machine]")
@data_option
@telling
def apply(trials: tuple[str, ...], as_recorded: bool, by: str | None, data: Path | None) -> None:
    """Read earlier trials with new calibrations.

    TRIAL is an id that `emberline trials` lists, or `last`. Its summary is worked out anew with the newest calibrations
    of its bench. Counts are kept as they came, so nothing is lost by it; the summary says which calibrations it was
    read with.
    """
    from emberline.app.calibrating import read_again

    for name in trials:
        with progress(None) as stage:
            stage(f"reading trial {name} again")
            trial = read_again(data_folder(data), name, name_of(by), as_recorded=as_recorded)
        click.echo(f"Trial {trial} is read {'as it was recorded' if as_recorded else 'with the newest calibrations'}.")
