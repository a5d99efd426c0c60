"""The arithmetic of the page on scale follows from the figures that it states."""

import re
from pathlib import Path

PAGE = Path(__file__).parents[2] / "host" / "docs" / "explanation" / "scale.md"
BENCHES, HZ, CHANNELS, ON_H, BURN_H, YEARS = 10_000, 10, 4, 2, 1, 10
STORED, FRESH, ARCHIVED = 1.95, 11.0, 3.7
"""Bytes a sample, as decision 51 measured them."""
ANALYSIS_S, CORE_MS, EACH_MB, DAEMON_GB, EACH_DAEMON = 0.083, 0.80 + 0.63, 0.18, 0.3, 250


def row(name: str) -> list[str]:
    """Return the cells of the row of the page that begins so, without the first."""
    (line,) = [line for line in PAGE.read_text(encoding="utf-8").splitlines() if line.startswith(f"| {name}")]
    return [cell.strip() for cell in line.strip("|").split("|")][1:]


def number(text: str) -> float:
    return float(re.sub(r"[^0-9.]", "", text.split(" ")[0]))


def close(text: str, value: float) -> bool:
    """Tell whether a figure is a value, rounded to as many digits as it has."""
    digits = len(text.split(" ")[0].partition(".")[2])
    return abs(number(text) - value) <= 0.5 * 10.0**-digits + 1e-9


def test_samples_follow_from_rate_and_channels_and_messages_from_one_frame_a_second() -> None:
    samples_s = HZ * CHANNELS
    assert [number(cell) for cell in row("samples a second")[1:]] == [samples_s, samples_s * BENCHES]
    assert [number(cell) for cell in row("messages a second, devices")[1:]] == [1, BENCHES]
    assert [number(cell) for cell in row("messages a second, broker")[1:]] == [4, 4 * BENCHES]
    assert [number(cell) for cell in row("rows a second")[1:]] == [samples_s, samples_s * BENCHES]
    assert [number(cell) for cell in row("the same, one a second")[1:]] == [CHANNELS, CHANNELS * BENCHES]


def test_bytes_follow_from_trials() -> None:
    each = HZ * CHANNELS * 3600 * BURN_H
    days = 365.25 * YEARS
    assert number(row("samples of a trial")[1]) == each
    assert number(row("trials in ten years")[1]) == int(days)
    assert close(row("trials in ten years")[2], days * BENCHES / 1e6)
    for name, bytes_each in (("stores after ten years", STORED), ("archive after ten years", ARCHIVED)):
        one, all_of_them = row(name)[1:]
        assert close(one, each * bytes_each * days / 1e9)
        assert close(all_of_them, each * bytes_each * days * BENCHES / 1e12)
    outside = HZ * CHANNELS * 3600 * (ON_H - BURN_H) * 7 * FRESH
    one, all_of_them = row("waiting to be pruned")[1:]
    assert close(one, outside / 1e6)
    assert close(all_of_them, outside * BENCHES / 1e12)


def test_computing_follows_from_what_was_measured() -> None:
    trials = 365.25 * YEARS
    one, all_of_them = row("re-analysis of everything")[1:]
    assert close(one, ANALYSIS_S * trials / 60)
    assert close(all_of_them, ANALYSIS_S * trials * BENCHES / 86_400)
    one, all_of_them = row("cores for daemons")[1:]
    assert close(one, CORE_MS)
    assert close(all_of_them, CORE_MS * BENCHES / 1000)
    assert close(row("memory of daemons")[2], EACH_MB * BENCHES / 1000 + DAEMON_GB * BENCHES / EACH_DAEMON)
