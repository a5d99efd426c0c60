"""What a channel does when somebody warms its probe with a hand, or presses on the load cell."""

from dataclasses import dataclass

import numpy as np

from emberline.curves.checkup.signal import Nature, Signal, measured

WARMED_K = 1.5
"""A hand warms a probe by ten degrees; a quarter of a degree is a step of a cheap converter."""
PRESSED_G, PRESSED_COUNTS = 30.0, 3_000.0
NOISES = 8.0


@dataclass(frozen=True, slots=True)
class Touched:
    """How a channel answered.

    Attributes:
        channel: Name of the channel.
        well: Whether it did as it should.
        text: What it did, and what to do about it.
    """

    channel: str
    well: bool
    text: str


def touched(before: Signal, during: Signal) -> Touched:
    """Tell how a channel answered.

    Args:
        before: Readings at rest.
        during: Readings while it was touched.
    """
    rest, good = measured(before), during.good
    if rest.middle is None or not len(good):
        return Touched(during.name, False, "there are no readings to go by")
    bridge = during.nature is Nature.BRIDGE
    # Warmth comes slowly and stays; a press comes and goes.
    way = good - rest.middle
    change = float(way[np.argmax(np.abs(way))]) if bridge else float(np.median(way[-max(1, len(way) // 4) :]))
    known = bool(np.isfinite(during.scale))
    size = during.scale if known else 1.0
    least = max(
        (PRESSED_G if known else PRESSED_COUNTS) if bridge else WARMED_K, NOISES * (rest.noise or 0.0) * abs(size)
    )
    moved = change * size
    unit = ("g" if known else "counts") if bridge else "K"
    amount = f"{abs(moved):,.0f} {unit}" if bridge else f"{abs(moved):.1f} {unit}"
    if moved >= least:
        return Touched(during.name, True, f"rises by {amount}, as it should")
    if moved > -least:
        return Touched(
            during.name,
            False,
            f"does not answer (it moved by {amount}): "
            + (
                "look for a lead that is off, and for something that carries the load past the cell"
                if bridge
                else "its leads touch each other, or another probe was touched"
            ),
        )
    if bridge:
        return Touched(
            during.name,
            True,
            f"falls by {amount} under load: its signal leads are swapped, or it is mounted upside down. A calibration"
            " takes that into account",
        )
    return Touched(during.name, False, f"falls by {amount} when it is warmed: its two leads are swapped")
