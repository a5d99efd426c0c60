"""Draws the curves that the site explains: a boil beside a stall, and what stands on the scale."""

import csv
import subprocess
import sys
from pathlib import Path

import matplotlib as mpl

mpl.use("svg")
mpl.rcParams["svg.hashsalt"] = "emberline"

from matplotlib.axes import Axes  # noqa: E402
from matplotlib.figure import Figure  # noqa: E402

WATER, FUEL, INK, FAINT = "#0b4f8a", "#a63a00", "#1e1a15", "#4d463d"
PAPER = "#fdfbf6"
SIZE = (8.0, 3.6)
EMBERLINE = str(Path(sys.executable).with_name("emberline"))


def draw_boil(folder: Path, target: Path) -> None:
    """Draw the water of a pot that boils beside that of one that stalls."""
    figure, axes = _sheet("minutes from the pot's coming", "water, °C")
    for scenario, colour, words in (("pot_never_lifted", WATER, "boils"), ("weak_stall", FUEL, "stalls")):
        table = _simulated(scenario, folder)
        with (table / "readings.csv").open(newline="") as file:
            rows = [(float(row["time_s"]), float(row["water_c"])) for row in csv.DictReader(file) if row["water_c"]]
        start = next(t for t, c in rows if c > rows[0][1] + 5.0)
        part = [((t - start) / 60.0, c) for t, c in rows if -60.0 < t - start < 900.0][::4]
        axes.plot(*zip(*part, strict=True), color=colour, linewidth=1.6, label=words)
    axes.axhline(99.3, color=INK, linewidth=1.0, linestyle=(0, (5, 4)))
    axes.text(0.0, 101.0, "boiling point of this place", color=INK)
    axes.text(2.2, 62.0, "ramp", color=WATER, ha="right")
    axes.text(7.2, 104.5, "knee, then a plateau: it boils", color=WATER, ha="center")
    axes.text(10.6, 56.0, "a stall creeps up to its level, below the boil", color=FUEL, ha="center")
    axes.set(xlim=(-1, 15), ylim=(10, 110))
    _save(figure, target)


def draw_ledger(folder: Path, target: Path) -> None:
    """Draw what a burn's fuel and water weigh over time."""
    table = _simulated("pot_never_lifted", folder)
    data = ["--data", str(folder / "ledger")]
    _run(EMBERLINE, "import", str(table / "readings.csv"), "--plan", str(table / "plan.toml"), *data)
    _run(EMBERLINE, "export", "last", "--to", str(folder / "ledger.csv"), *data)
    with (folder / "ledger.csv").open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["fuel_g"] and row["water_g"]][::5]
    minutes = [float(row["t_s"]) / 60.0 for row in rows]
    fuel = [float(row["fuel_g"]) for row in rows]
    water = [float(row["water_g"]) for row in rows]
    figure, axes = _sheet("minutes of the record", "grams on the scale")
    axes.stackplot(minutes, fuel, water, colors=["#d9a07a", "#a9c6e0"], linewidth=0)
    axes.plot(minutes, [a + b for a, b in zip(fuel, water, strict=True)], color=INK, linewidth=1.4)
    at = len(rows) // 5
    axes.text(minutes[at], fuel[at] / 2.0, "fuel and char", color=FUEL, va="center")
    axes.text(minutes[at], fuel[at] + water[at] / 2.0, "water", color=WATER, va="center")
    axes.text(minutes[at], (fuel[at] + water[at]) * 1.04, "what the scale shows, stove and pot taken off", color=INK)
    axes.set(xlim=(minutes[0], minutes[-1]), ylim=(0, 1.2 * max(a + b for a, b in zip(fuel, water, strict=True))))
    _save(figure, target)


def _simulated(scenario: str, folder: Path) -> Path:
    """Have a scenario written into a folder of its name."""
    _run(sys.executable, "-m", "emberline_sim", "--scenario", scenario, "--write-files", str(folder / scenario))
    return folder / scenario


def _run(*words: str) -> None:
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # noqa: S603


def _sheet(across: str, up: str) -> tuple[Figure, Axes]:
    figure = Figure(figsize=SIZE, layout="constrained", facecolor=PAPER)
    axes = figure.add_subplot(facecolor=PAPER)
    axes.set(xlabel=across, ylabel=up)
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(colors=FAINT)
    return figure, axes


def _save(figure: Figure, target: Path) -> None:
    figure.savefig(target, metadata={"Date": None, "Creator": None})
    lines = target.read_text(encoding="utf-8").splitlines()
    target.write_text("".join(f"{line.rstrip()}\n" for line in lines), encoding="utf-8")
