"""The command `deploy/bench calibration`."""

import sys
from collections import defaultdict

import click

from benchmarks.calibration.running import NONSENSE, RUNS, Recovered, refusal
from emberline.bench.errors import CalibrationError

BAR = 0.95
"""Share of runs in which the truth must lie within the stated expanded uncertainty."""


@click.command(name="deploy/bench calibration")
@click.option("--runs", type=click.IntRange(1), default=100, show_default=True, help="Runs of each kind.")
@click.option("--seed", type=int, default=1, show_default=True, help="Seed of the first run; the others follow it.")
def main(*, runs: int, seed: int) -> None:
    """Calibrate simulated load cells and probes, and see whether what is found is right within its uncertainty.

    Besides, nonsense is tried: wrong masses, an overloaded cell, wind, warm ice. Exit code 1 if a bar is missed.
    """
    missed = False
    for kind, run in RUNS.items():
        found: dict[str, list[Recovered]] = defaultdict(list)
        refused = []
        for one in range(seed, seed + runs):
            try:
                for recovered in run(one):
                    found[recovered.what].append(recovered)
            except CalibrationError as error:
                refused.append(f"{kind} {one}: {error}")
        for what, all_of in found.items():
            within = sum(recovered.within for recovered in all_of)
            held = within >= BAR * len(all_of)
            missed |= not held
            worst = max(abs(recovered.off) / recovered.u for recovered in all_of)
            usual = sorted(recovered.u for recovered in all_of)[len(all_of) // 2]
            click.echo(
                f"{'held  ' if held else 'MISSED'} {what}: {within} of {len(all_of)} within U = 2 u; "
                f"u {usual:.2g} (median), worst {worst:.1f} u"
            )
        missed |= bool(refused)
        for words in refused:
            click.echo(f"MISSED refused though sound: {words}")
    for name, (_, reason) in NONSENSE.items():
        words = refusal(name, seed)
        held = reason in words
        missed |= not held
        click.echo(f"{'held  ' if held else 'MISSED'} refused: {name}: {words or 'it was taken'}")
    sys.exit(int(missed))


if __name__ == "__main__":
    main()
