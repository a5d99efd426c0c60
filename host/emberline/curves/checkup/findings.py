"""What looks wrong in some seconds of readings, in plain words, and what to do about it.

Limits without another source are common practice.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from emberline.curves.checkup.hum import hum_of
from emberline.curves.checkup.signal import Fault, Measured, Nature, Signal, measured

FULL_CODE = float(0x7FFFFF)
"""Largest code of a signed 24-bit converter."""
LIKE_COLD_C = 0.5
BELOW_COLD_C = 8.0
"""Class-2 wire (2.5 K, IEC 60584-1), converter and cold junction (2 K each) together leave less than this."""
COLDEST_C, HOTTEST_C = -40.0, 1_400.0
NOISY_G, NOISY_COUNTS = 3.0, 20_000.0
MOVING_G, MOVING_COUNTS = 2.0, 1_500.0
"""Change within a minute of a load cell at rest from which on it has not settled."""
SIGNIFICANCE = 6.0
SLOWEST_HZ = 0.9
HOLE_PERIODS, HOLE_S = 3.0, 1.0
FEWEST_STUCK = 20
FEWEST = 3


class Problem(StrEnum):
    """Kinds of what can be wrong."""

    SILENT = "no readings"
    OPEN = "open probe"
    LEAD = "lead touches something"
    NO_ANSWER = "converter does not answer"
    SATURATED = "saturated bridge"
    COLD_JUNCTION = "cold junction at fault"
    WORDS = "words instead of numbers"
    LIKE_SHORT = "reads the board's own temperature"
    BELOW = "colder than its board"
    IMPOSSIBLE = "no temperature of a stove"
    STUCK = "stuck code"
    HUM = "mains hum"
    NOISY = "noisy"
    MOVING = "not settled"
    SELDOM = "too seldom"
    HOLE = "holes in time"
    COUNTS = "not calibrated"


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that a person should see to.

    Attributes:
        channel: Name of the channel.
        problem: Its kind.
        text: What was seen.
        advice: What to do.
    """

    channel: str
    problem: Problem
    text: str
    advice: str

    @property
    def sure(self) -> bool:
        """Whether it is wrong, whatever the bench is doing."""
        return self.problem not in (Problem.LIKE_SHORT, Problem.BELOW)


_FAULTS: dict[Fault, tuple[Problem, str, str]] = {
    Fault.OPEN: (
        Problem.OPEN,
        "the converter finds the probe's circuit open",
        "tighten both leads at its terminals; if it stays so, the probe is broken",
    ),
    Fault.SHORT_LOW: (
        Problem.LEAD,
        "a lead of the probe touches ground",
        "look for bare wire, and for a sheath that is joined to the wire and stands on earthed metal",
    ),
    Fault.SHORT_HIGH: (
        Problem.LEAD,
        "a lead of the probe touches the supply",
        "look for bare wire between the probe's terminals and the board's supply",
    ),
    Fault.SATURATED: (
        Problem.SATURATED,
        "the bridge is beyond what its converter can read",
        "take the load off; if it stays so, a lead of the load cell is off or on the wrong terminal",
    ),
    Fault.NO_ANSWER: (
        Problem.NO_ANSWER,
        "the sensor's chip does not answer",
        "check its supply, ground and data wires, and that the sketch names the right pins",
    ),
    Fault.COLD_JUNCTION: (
        Problem.COLD_JUNCTION,
        "the converter's own thermometer is at fault",
        "check the converter's supply; if it stays so, the chip is broken",
    ),
    Fault.UNKNOWN: (
        Problem.WORDS,
        "a word stands where a number should be: the sketch says that it got no reading",
        "check the sensor's wires, and what the sketch prints when a reading fails",
    ),
}


def findings_of(signal: Signal) -> list[Finding]:
    """Return what looks wrong with a signal, the worst first; nothing where all seems well."""
    measures = measured(signal)
    if measures.count < FEWEST:
        return [Finding(signal.name, Problem.SILENT, "next to no reading came", "check that the device samples it")]
    return [
        Finding(signal.name, problem, text, advice)
        for part in (_faults, _codes, _temperatures, _load, _hum, _times)
        for problem, text, advice in part(signal, measures)
    ]


_Found = Iterator[tuple[Problem, str, str]]


def _faults(signal: Signal, measures: Measured) -> _Found:
    for fault, count in signal.faults.items():
        if count:
            problem, text, advice = _FAULTS[fault]
            yield problem, f"{text}, in {count} of {measures.count} readings", advice


def _codes(signal: Signal, measures: Measured) -> _Found:
    """Find what the codes of a converter tell by themselves."""
    good = signal.good
    if not signal.coded or len(good) < FEWEST or signal.nature is Nature.OTHER:
        return
    bridge = signal.nature is Nature.BRIDGE
    if bridge and float(np.mean(np.abs(good) >= FULL_CODE)) > 0.5 and not signal.faults.get(Fault.SATURATED):
        yield _FAULTS[Fault.SATURATED]
    elif np.all(good == good[0]) and good[0] in (0.0, -1.0):
        if bridge or signal.cold_c is None or abs(signal.cold_c) > LIKE_COLD_C:
            yield (
                Problem.NO_ANSWER,
                f"every code is {good[0]:.0f}, as from a data line that nothing drives",
                "check the chip's supply, ground, clock and data wires",
            )
    elif bridge and len(good) >= FEWEST_STUCK and np.all(good == good[0]):
        yield (
            Problem.STUCK,
            f"all {len(good)} codes are {good[0]:.0f}; a converter of 24 bits never stands that still",
            "switch the board off and on; if it stays so, check the chip's clock wire and the sketch's reading of it",
        )


def _temperatures(signal: Signal, measures: Measured) -> _Found:
    if signal.nature is not Nature.THERMOCOUPLE or measures.middle is None:
        return
    value_c = (measures.middle - signal.zero) * signal.scale
    if not COLDEST_C <= value_c <= HOTTEST_C:
        yield (
            Problem.IMPOSSIBLE,
            f"it reads {value_c:.0f} °C",
            "check the probe's leads and polarity, and how the sketch works out degrees",
        )
        return
    if signal.cold_c is None or measures.noise is None:
        return
    near_c = max(LIKE_COLD_C, 3.0 * measures.noise * abs(signal.scale))
    below_c = signal.cold_c - value_c
    if abs(below_c) <= near_c:
        yield (
            Problem.LIKE_SHORT,
            f"it reads {value_c:.1f} °C, just what its board has; a probe in the same room may, a short always does",
            (
                "only on a bench that has been cold for hours, since a short hides a hot tip, hold it in your hand: "
                "if it does not rise, its leads touch each other somewhere"
            ),
        )
    elif below_c > BELOW_COLD_C:
        yield (
            Problem.BELOW,
            f"it reads {value_c:.1f} °C, {below_c:.0f} K below its board: right in ice, else its leads are swapped",
            "once the bench has been cold for hours, warm its tip: if it falls, swap the two leads",
        )


def _load(signal: Signal, measures: Measured) -> _Found:
    if signal.nature is not Nature.BRIDGE or measures.noise is None:
        return
    known = bool(np.isfinite(signal.scale))
    size, unit = (abs(signal.scale), "g") if known else (1.0, "counts")
    noise, noisy = measures.noise * size, NOISY_G if known else NOISY_COUNTS
    if noise > noisy:
        yield (
            Problem.NOISY,
            f"it scatters by {noise:,.1f} {unit} from one reading to the next",
            "shield it from wind and fans, keep its leads away from power leads, and check their terminals",
        )
    assert measures.per_minute is not None
    assert measures.u_per_minute is not None
    pace, moving = abs(measures.per_minute) * size, MOVING_G if known else MOVING_COUNTS
    if pace > moving and abs(measures.per_minute) > SIGNIFICANCE * measures.u_per_minute:
        yield (
            Problem.MOVING,
            f"it moves by {pace:,.1f} {unit} a minute at rest",
            "let it settle: converters and load cells need some fifteen minutes after power-up and after a load",
        )
    if not known:
        yield (
            Problem.COUNTS,
            "it gives counts, and nobody has said how many make a gram",
            "calibrate it before the first burn: emberline calibrate mass",
        )


def _hum(signal: Signal, measures: Measured) -> _Found:
    known = np.isfinite(signal.raw)
    hum = hum_of(signal.t_s[known], signal.raw[known]) if signal.nature is not Nature.OTHER else None
    if hum is not None:
        size, unit = (abs(signal.scale), signal.unit) if np.isfinite(signal.scale) else (1.0, "")
        words = {"c": "K", "g": "g"}.get(unit, "counts")
        yield (
            Problem.HUM,
            (
                f"it swings by {hum.rms * size:,.2g} {words} (rms) as {hum.mains_hz:.0f} Hz of mains;"
                f" at {measures.rate_hz or 0.0:.1f} readings a second that shows as {hum.seen_hz:.2f} Hz"
            ),
            (
                "twist the sensor's leads, keep them away from power leads, join the shield at one end, or run the"
                " board from a battery; many converters reject it by themselves at 10 readings a second"
            ),
        )


def _times(signal: Signal, measures: Measured) -> _Found:
    if measures.rate_hz is None or measures.longest_s is None:
        return
    if signal.nature is not Nature.OTHER and measures.rate_hz < SLOWEST_HZ:
        yield (
            Problem.SELDOM,
            f"a reading comes each {1.0 / measures.rate_hz:.1f} s",
            "events can be dated no better: have one a second, of a load cell five or ten",
        )
    usual_s = float(np.median(np.diff(signal.t_s)))
    if measures.longest_s > max(HOLE_S, HOLE_PERIODS * usual_s):
        yield (
            Problem.HOLE,
            f"for {measures.longest_s:.1f} s no reading came, else one each {usual_s:.2g} s",
            "look for what keeps the board busy, and for a loose plug",
        )
