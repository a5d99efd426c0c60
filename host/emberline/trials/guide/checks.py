"""What the checks before a burn find, in words: zero, known mass, probe, warm-up, wind, room left, disk."""

from math import hypot

from emberline.bench.channels import Channel
from emberline.trials.guide.level import LEAST_S, Level
from emberline.trials.guide.weighing import u_difference

WARM_UP_G_MIN = 0.1
"""Drift of an untouched cell from which on it is still warming up: 3 g in half an hour, where ISO 5660-1 allows 1 g."""
CALM_G, WINDY_G = 0.3, 1.5
"""Standard deviation of the load over ten seconds: below the first it is calm, beyond the second weights suffer. A wind
of 1 m/s on a plate of 0.03 m² is a force of 1.8 g."""
BEYOND_SPAN = 3.0
"""Standard uncertainties by which a known mass must be off for the calibration to be in doubt."""
SETTLED_C = 0.6
LEAST_ANSWER_C = 0.5
TAP_C = (0.5, 45.0)
"""Temperatures that water has before a burn."""
FULL = 0.95
"""Share of the cell's range that may be used."""
LEAST_DISK_BYTES = 200_000_000
"""Room that an hour of four fast benches and their pages take, ten times over."""


def cell_words(level: Level) -> list[str]:
    """Say what an untouched scale shows of wind and warm-up; empty where all is well."""
    found: list[str] = []
    if level.seconds < LEAST_S:
        return found  # somebody handles it
    if level.within_10s_g > WINDY_G:
        found.append(
            f"The load shakes by {level.within_10s_g:.1f} g: shelter the bench from wind, and see that no lead or hand "
            "touches it. Weights will be less sure."
        )
    elif level.within_10s_g > CALM_G:
        found.append(f"A little restless, {level.within_10s_g:.1f} g: is there a draught?")
    drift, u_drift = level.drift_g_min, level.u_drift_g_min
    if drift is not None and u_drift is not None and abs(drift) > WARM_UP_G_MIN + 2.0 * u_drift:
        found.append(
            f"The zero moves by {drift:+.2f} g a minute: let cell and converter warm up, half an hour is usual, and "
            "keep the sun off the cell."
        )
    return found


def known_words(
    shown_g: float, u_shown_g: float, known_g: float, u_known_g: float, channel: Channel
) -> tuple[str, bool]:
    """Say how well a known mass is shown, and whether the calibration is in doubt."""
    off_g = shown_g - known_g
    u_g = hypot(u_shown_g, u_known_g, channel.u_scale * known_g)
    share = 100.0 * off_g / known_g
    words = f"{shown_g:.1f} g for {known_g:.1f} g, {share:+.2f} %"
    if abs(off_g) > BEYOND_SPAN * u_g:
        return f"{words}: more than the calibration allows. Calibrate the scale with this mass.", True
    return f"{words}: within what the calibration allows.", False


def probe_words(
    now_c: float | None, air_c: float | None, spread_c: float, typed_c: float | None, channel: Channel
) -> list[str]:
    """Say what is odd about a probe that should hang in the water; empty where all is well.

    Args:
        now_c: What it shows; None for a fault.
        air_c: What it showed before it was put there; None where nobody looked.
        spread_c: How much it moved within the last seconds.
        typed_c: What a thermometer shows; None without.
        channel: The probe.
    """
    if now_c is None:
        return ["The probe reports a fault: is its plug in, and its wire whole?"]
    found = []
    if spread_c > SETTLED_C:
        found.append("It still moves: wait until it has settled.")
    low, high = TAP_C
    if not low <= now_c <= high:
        found.append(
            f"{now_c:.1f} °C is not what tap water has: is that the probe in the water? Are its wires swapped?"
        )
    elif air_c is not None and abs(now_c - air_c) < LEAST_ANSWER_C:
        found.append(
            f"It shows what it showed in the air, {air_c:.1f} °C: that is well if the water is as warm as the air; "
            "else it does not hang in the water."
        )
    if typed_c is not None and abs(now_c - typed_c) > 2.0 * hypot(channel.u_bias, 0.5):
        found.append(
            f"It differs from your thermometer by {now_c - typed_c:+.1f} °C, more than such a probe should: check it "
            "in ice and in boiling water."
        )
    return found


def room_words(on_it_g: float, to_come_g: float, capacity_g: float | None) -> str:
    """Say whether what is still to come fits on the cell; empty where it does, or where its range is not known."""
    if capacity_g is None or on_it_g + to_come_g <= FULL * capacity_g:
        return ""
    return (
        f"{on_it_g:.0f} g are on the cell and {to_come_g:.0f} g are to come, of {capacity_g:.0f} g that it can take: "
        "use a larger cell, or less water."
    )


def disk_words(free_bytes: int | None) -> str:
    """Say whether the disk has room for the burn; empty where it has."""
    if free_bytes is None or free_bytes >= LEAST_DISK_BYTES:
        return ""
    return f"Only {free_bytes / 1e6:.0f} MB are left on the disk: make room before the fire is lit."


def zero_after(before: Level, after: Level, channel: Channel) -> tuple[dict[str, tuple[float, float]], str]:
    """Return what the zero's drift over the burn puts into the plan, and how to say it."""
    drift_g = after.mean_g - before.mean_g
    # The wander itself is what is looked for: only the two looks' own errors count.
    still = u_difference(after, before, channel)
    wander = channel.u_drift_per_hour**2 * max(after.at_ns - before.at_ns, 0) / 3.6e12
    u_g = max(still**2 - wander, 0.1**2) ** 0.5
    between_s = max((after.at_ns - before.at_ns) / 1e9, 60.0)
    values = {"load_cell.zero_drift_g": (drift_g, u_g), "load_cell.zero_drift_s": (between_s, 5.0)}
    return (
        values,
        f"The zero moved by {drift_g:+.1f} g in {between_s / 60.0:.0f} min; the mass lost is corrected by it.",
    )
