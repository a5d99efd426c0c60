"""A burn of which little is recorded, as a text table."""

NOON_NS = 1_764_072_000_000_000_000


def burn(seconds: int = 240) -> str:
    """A mass that stands still, then falls steadily, beside an unlit thermometer."""
    rows = [f"{t},{800.0 - max(0.0, t - 60) * 0.12:.2f},18.5,shut\n" for t in range(seconds)]
    return "time,mass_g,room temperature,door\n" + "".join(rows)
