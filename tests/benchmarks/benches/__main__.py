"""The command `deploy/bench benches`."""

import asyncio
import tempfile
from collections.abc import Sequence
from pathlib import Path
from statistics import median

import click

from benchmarks.benches.baseline import cores
from benchmarks.benches.burns import Burns
from benchmarks.benches.running import Found, run
from benchmarks.service.verdict import Bar, at_most, tell

MINUTES, QUICK_MINUTES, BENCHES = 10.0, 1.0, 1_000
LAG_S, CORES_A_THOUSAND, EACH_MORE_MB = 1.0, 1.5, 0.3
GROWN = 1.5
"""How much longer the last minute's readings may take than the first's; what falls behind takes longer and longer."""
GROWN_MB = 1.1
"""What flat memory may grow by while burns go on, each of which keeps its own course (ours)."""
LEAST_S = 0.2
"""Below it, the time to the acknowledgement is the gathering of a second's frames, and says nothing of growth."""


@click.command(name="deploy/bench benches")
@click.option("--benches", type=click.IntRange(1, 2_000), help=f"So many.  [default: {BENCHES:,}]")
@click.option("--minutes", type=click.FloatRange(0.1), help=f"So long.  [default: {MINUTES:g}]")
@click.option(
    "--burns",
    type=click.Choice([one.value for one in Burns]),
    default=Burns.SPREAD.value,
    show_default=True,
    help="idle: nothing burns. spread: lit one after the other over half the time. all: lit in the first minute.",
)
@click.option("--quick", is_flag=True, help=f"100 benches for {QUICK_MINUTES:g} min.")
@click.option("--ramp", help="Find where it breaks: numbers of benches, such as 200,400,800, one run for each.")
@click.option(
    "--json", "json_file", type=click.Path(dir_okay=False, path_type=Path), help="Write the figures into this file."
)
def main(
    *,
    benches: int | None,
    minutes: float | None,
    burns: str,
    quick: bool,
    ramp: str | None,
    json_file: Path | None,
) -> None:
    """Record many benches by one daemon behind one broker: four channels at 10 Hz, one frame a second of each bench.

    Devices, broker and daemon are processes of this machine. The lag is the time from the sending of a second's frames
    to the device's hearing that they are on the disk; cores are the processor's time over the time gone by, of the
    second half. An event loop that fills its core makes acknowledgements late; processes that it starts, and that fill
    theirs, fall behind in following. The baseline stores the same samples as rows of SQLite and does nothing else.
    Exit code 1 if a bar is missed. Needs a Mosquitto.
    """
    length_min = minutes or (QUICK_MINUTES if quick else MINUTES)
    figures: dict[str, object] = {}
    bars: list[Bar] = []
    try:
        numbers = [int(word) for word in ramp.split(",")] if ramp else [benches or (100 if quick else BENCHES)]
    except ValueError:
        raise click.UsageError(f"--ramp {ramp}: write numbers with commas between them") from None
    for number in numbers:
        with tempfile.TemporaryDirectory(prefix="emberline-benches-") as name:
            found = asyncio.run(run(Path(name), number, 60.0 * length_min, Burns(burns)))
            before = f"{number} benches: " if ramp else ""
            more, judged = judged_by(found, cores(Path(name), number), before)
        figures |= more
        bars += judged
        missed = ", ".join(bar.name for bar in judged if not bar.holds)
        click.echo(f"{number} benches: {f'missed: {missed}' if missed else 'every bar holds'}", err=True)
    tell(f"benches, {burns}, {length_min:g} min", figures, bars, json_file)


def judged_by(found: Found, plain_cores: float, before: str = "") -> tuple[dict[str, object], list[Bar]]:
    """Return the figures of a run and what they are held against; `before` goes before each name."""
    needs, devices, number = found.needs, found.devices, found.benches
    half = len(needs.t_s) // 2
    daemon, started = needs.cores(needs.daemon_s, half), needs.cores(needs.started_s, half)
    first, last = _lags(devices["lag_s"])
    greeted = devices["lag_s"][1:] or devices["lag_s"]
    each_mb = (needs.daemon_mb[-1] - found.idle_mb) / number
    figures: dict[str, object] = {
        "benches": number,
        "frames sent": devices["packets_sent"],
        "samples sent": devices["samples_sent"],
        "samples stored": found.stored,
        "samples flagged lost": found.lost,
        "samples sent again": devices["samples_sent_again"],
        "trials opened": found.trials,
        "lag in the first minute, in which all greet at once, median and 99 of 100 (s)": _told(first),
        "lag in the last minute, median and 99 of 100 (s)": _told(last),
        "cores of the daemon itself": daemon,
        "of these, of its event loop": needs.cores(needs.loop_s, half),
        "cores of the processes that it starts": started,
        "each bench and second: daemon, processes that it starts (ms)": (
            f"{1000.0 * daemon / number:.2f}, {1000.0 * started / number:.2f}"
        ),
        "following behind the newest reading at the end, median and most (s)": _behind(found.behind_s),
        "cores of the baseline, rows of SQLite": plain_cores,
        "cores of the broker": needs.cores(needs.broker_s, half),
        "cores of the devices": needs.cores(needs.devices_s, half),
        "memory of the daemon without benches, in the middle, at the end (MB)": (
            f"{found.idle_mb:.0f}, {needs.daemon_mb[half]:.0f}, {needs.daemon_mb[-1]:.0f}"
        ),
        "the same with the processes that it starts (MB)": f"{needs.all_mb[half]:.0f}, {needs.all_mb[-1]:.0f}",
        "devices late by at most (s)": devices["late_s"],
    }
    bars = [
        at_most("samples unaccounted for", abs(found.unaccounted), 0),
        at_most("samples flagged lost", found.lost, 0),
        at_most("lag of 99 of 100, of all", devices["lag_all_s"][1], LAG_S, "s"),
        at_most("lag of 99 of 100, worst minute after the greeting", max(lag[1] for lag in greeted), LAG_S, "s"),
        at_most("lag, last minute over first", max(last[0], LEAST_S) / max(first[0], LEAST_S), GROWN),
        at_most(
            "cores of the daemon and its processes, a thousand benches",
            (daemon + started) * 1000 / number,
            CORES_A_THOUSAND,
        ),
        at_most("memory of each bench", each_mb, EACH_MORE_MB, "MB"),
    ]
    if needs.t_s[-1] >= 60.0 * MINUTES:
        # Before the middle benches greet and are lit, and a shorter run is hardly beyond that.
        grown = needs.all_mb[-1] / needs.all_mb[half]
        bars.append(at_most("memory with all processes, end over middle", grown, GROWN_MB))
    return {before + name: value for name, value in figures.items()}, [
        Bar(before + bar.name, bar.value, bar.limit, bar.holds, bar.excess) for bar in bars
    ]


def _lags(lags_s: Sequence[Sequence[float]]) -> tuple[Sequence[float], Sequence[float]]:
    """Return those of the first and of the last whole minute."""
    return lags_s[0], lags_s[max(0, len(lags_s) - 2)] if len(lags_s) > 2 else lags_s[-1]


def _behind(behind_s: Sequence[float]) -> str:
    return f"{median(behind_s):.1f}, {max(behind_s):.1f}" if behind_s else "no bench burns"


def _told(lag_s: Sequence[float]) -> str:
    return f"{lag_s[0]:.2f}, {lag_s[1]:.2f}"


if __name__ == "__main__":
    main()
