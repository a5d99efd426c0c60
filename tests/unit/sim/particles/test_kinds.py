from emberline_sim.particles.kinds import KINDS
from emberline_sim.recording import UNITS


def test_all_subsets_of_channels_and_rates_from_slow_to_quick_occur() -> None:
    subsets = {tuple(role.rstrip("?") for role in kind.channels) for kind in KINDS.values()}
    assert {("mass",), ("water",), ("water", "mass"), ("water", "mass", "flame")} <= subsets
    rates = {hz for kind in KINDS.values() for hz in kind.hz}
    assert min(rates) <= 1.0
    assert max(rates) >= 80.0


def test_channels_are_roles() -> None:
    assert {role.rstrip("?") for kind in KINDS.values() for role in kind.channels} <= set(UNITS)
