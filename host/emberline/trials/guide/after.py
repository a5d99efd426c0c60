"""After the flame: when char and stove count as cold, and what was left out."""

from collections.abc import Mapping
from dataclasses import dataclass

COLD_UNWATCHED_S = 24 * 3600.0
"""Time after which smothered char counts as cold where nothing measures it: it rekindles for hours."""
COLD_WATCHED_S = 3 * 3600.0
"""The same where probes at the stove have come down to the air's temperature (common practice, no source: a probe over
the char does not feel its middle)."""
NEAR_AIR_K = 8.0
ASSUMED_AIR_C = 20.0


@dataclass(frozen=True, slots=True)
class Warmth:
    """What is known of how hot stove and char still are.

    Attributes:
        now_ns: The time, UTC nanoseconds.
        flameout_ns: When the flame went out; None where it is not known to have.
        snuffed_ns: When the char was smothered; None where nobody said.
        flame_c: What the flame probe shows.
        cell_c: What the thermometer on the load cell shows.
        air_c: What the air has.
    """

    now_ns: int
    flameout_ns: int | None = None
    snuffed_ns: int | None = None
    flame_c: float | None = None
    cell_c: float | None = None
    air_c: float | None = None


def why_not_cold(warmth: Warmth) -> str:
    """Say why char and stove do not count as cold yet; empty once they do. Never a promise that they are."""
    began_ns = warmth.snuffed_ns if warmth.snuffed_ns is not None else warmth.flameout_ns
    if began_ns is None:
        return "The flame is not known to be out."
    since_s = (warmth.now_ns - began_ns) / 1e9
    air_c = ASSUMED_AIR_C if warmth.air_c is None else warmth.air_c
    for name, reading_c in (("The flame probe", warmth.flame_c), ("The load cell", warmth.cell_c)):
        if reading_c is not None and reading_c > air_c + NEAR_AIR_K:
            return f"{name} still shows {reading_c:.0f} °C, and the air has {air_c:.0f} °C."
    watched = warmth.flame_c is not None
    wait_s = COLD_WATCHED_S if watched else COLD_UNWATCHED_S
    if since_s >= wait_s:
        return ""
    since = f"{max(since_s, 0.0) / 60.0:.0f} min" if since_s < 5400.0 else f"{since_s / 3600.0:.1f} h"
    how = "smothered" if warmth.snuffed_ns is not None else "after the flame"
    return f"Only {since} {how}: char counts as cold after {wait_s / 3600.0:.0f} h here."


MISSING: Mapping[str, str] = {
    "known": "No known mass was weighed before.",
    "fuel": "The fuel was not weighed.",
    "starter": "The starter was not weighed.",
    "pot": "The empty pot was not weighed.",
    "water": "The water was not weighed.",
    "place": "Neither height nor air pressure was said.",
    "pot_after": "The pot was not weighed when it was lifted.",
    "char": "The cold char was not weighed.",
    "unburnt": "Nobody looked for unburnt wood.",
    "empty_after": "The empty scale was not looked at again.",
    "known_after": "The known mass was not weighed again.",
}
"""How to say that a step was left out whose answer makes results surer; the advice says by how much."""
