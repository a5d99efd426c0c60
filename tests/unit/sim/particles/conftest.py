"""Burns of the second simulator, each made once."""

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from emberline_sim.particles.burn import ParticleBurn, draw_setting, random_burn
from emberline_sim.particles.history import History
from emberline_sim.particles.kinds import KINDS
from emberline_sim.particles.running import run
from emberline_sim.particles.setting import Setting


@cache
def _burn(kind: str, seed: int = 1) -> ParticleBurn:
    return random_burn(seed, kind)


@cache
def _history(kind: str, seed: int = 1) -> tuple[Setting, History]:
    rng = np.random.default_rng([seed, *kind.encode()])
    setting, _, _ = draw_setting(KINDS[kind], int(rng.integers(2**31)), rng)
    return setting, run(setting)


@pytest.fixture
def burn() -> Callable[..., ParticleBurn]:
    return _burn


@pytest.fixture
def history() -> Callable[..., tuple[Setting, History]]:
    """The course of the same burn as `burn` gives for that kind and seed."""
    return _history
