"""A simulated bench whose stove tips over in mid-burn."""

from pathlib import Path

from live_fixture import LIT_S, short_burn

TIPS_S = LIT_S + 70.0
"""Once the fire has been seen to burn, before the pot is set on."""


def tipping_options(folder: Path, duration_s: float) -> tuple[str, ...]:
    """Return the words by which a simulated bench runs such a burn instead of its own."""
    path = folder / "tipping.toml"
    path.write_text(f'{short_burn(duration_s)}\n[[hand]]\nkind = "tip"\nt_s = {TIPS_S}\n', encoding="utf-8")
    return ("--scenario", str(path))
