"""Whether any setting of `ruptures` is as near to the truth as the final analysis, and if so whether it is faster."""

import statistics
import time
from collections.abc import Sequence
from dataclasses import dataclass

from benchmarks.accuracy.burns import burn, names
from benchmarks.accuracy.judging import judge
from benchmarks.accuracy.plain import Setting, change_points
from benchmarks.accuracy.scoring import Found, Outcome, tally
from benchmarks.service.verdict import Bar
from benchmarks.speed.figures import Figure, Other
from emberline.curves.grid import grid_of

SEED = 1100
KINDS = ("boil", "flameout")
SETTINGS = tuple(Setting(method, block_s) for method in ("Binseg", "BottomUp", "Window") for block_s in (20, 10, 5, 2))


@dataclass(frozen=True)
class Reached:
    """What a method reached.

    Attributes:
        errors_s: Median error of the boils, and of the flameouts.
        wrong: Events missed and invented.
        taken_s: Median time for a burn.
    """

    errors_s: tuple[float, ...]
    wrong: int
    taken_s: float

    def as_near_as(self, other: "Reached") -> bool:
        """Whether nothing about it is worse."""
        pairs = zip(self.errors_s, other.errors_s, strict=True)
        return self.wrong <= other.wrong and all(mine <= its for mine, its in pairs)


def measure(burns: int) -> tuple[list[Figure], list[Bar]]:
    """Find the boils and flameouts of random burns in every way, and time the fastest one that is as near."""
    made = [burn(name) for name in names(burns, SEED)]
    grids = [grid_of(one.curves) for one in made]
    outcomes, taken_s = [], []
    for one in made:
        began_s = time.process_time()
        outcomes.append(judge(one, live=False))
        taken_s.append(time.process_time() - began_s)
    ours = _reached(outcomes, [outcome.found for outcome in outcomes], taken_s)
    rivals = {}
    for setting in SETTINGS:
        found, taken_s = [], []
        for grid in grids:
            began_s = time.process_time()
            found.append(change_points(grid, setting))
            taken_s.append(time.process_time() - began_s)
        rivals[setting] = _reached(outcomes, found, taken_s)
    near = {setting: rival for setting, rival in rivals.items() if rival.as_near_as(ours)}
    figures = []
    for number, kind in enumerate(KINDS):
        best = min(rivals, key=lambda setting: rivals[setting].errors_s[number])
        words = f"`ruptures` at its best, {best.method} on {best.block_s} s"
        figures.append(
            Figure(f"{kind}: median error", ours.errors_s[number], "s", Other(words, rivals[best].errors_s[number]))
        )
    least = min(rivals, key=lambda setting: rivals[setting].wrong)
    words = f"`ruptures` at its best, {least.method} on {least.block_s} s"
    figures.append(
        Figure(f"of {burns} burns, missed and invented", ours.wrong, "events", Other(words, rivals[least].wrong))
    )
    fastest_s = min((rival.taken_s for rival in near.values()), default=float("inf"))
    limit = f"less than {fastest_s:.3f} s" if near else f"none of {len(SETTINGS)} settings of `ruptures` is as near"
    return figures, [Bar("final analysis of such a burn", ours.taken_s, limit, ours.taken_s < fastest_s)]


def _reached(outcomes: Sequence[Outcome], found: Sequence[tuple[Found, ...]], taken_s: Sequence[float]) -> Reached:
    by_burn = {outcome.burn: one for outcome, one in zip(outcomes, found, strict=True)}
    tallies = [tally(outcomes, kind, found_of=lambda outcome: by_burn[outcome.burn]) for kind in KINDS]
    return Reached(
        tuple(statistics.median(map(abs, one.errors_s)) if one.errors_s else float("inf") for one in tallies),
        sum(len(one.missed) + len(one.invented) for one in tallies),
        statistics.median(taken_s),
    )
