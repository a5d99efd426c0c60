"""What goes wrong in a burn so that a person should be called: added to what was drawn, which stays as it was."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from emberline_sim.particles.benches import Bench
from emberline_sim.particles.senses import Spoilt
from emberline_sim.particles.setting import Setting

TIPS_OVER_S = 0.6


@dataclass(frozen=True, slots=True)
class Mishaps:
    """Mishaps of one burn; times are seconds of the record.

    Attributes:
        tips_s: When stove and all that stands on it fall off the load cell.
        left_g: What of the load is left on it then.
        probe_out_s: From when to when the water probe hangs in the air beside the pot.
        water_g: Water in each filling of the pot, in place of what was drawn.

    """

    tips_s: float | None = None
    left_g: float = 0.0
    probe_out_s: tuple[float, float] | None = None
    water_g: float | None = None

    def of_setting(self, setting: Setting) -> Setting:
        """Return a burn with this much water."""
        if self.water_g is None:
            return setting
        deeds = (
            replace(deed, water_g=self.water_g) if deed.kind == "pot_on" and deed.water_g else deed
            for deed in setting.deeds
        )
        return replace(setting, deeds=tuple(deeds))

    def of_bench(self, bench: Bench) -> Bench:
        """Return a bench whose probe falls out."""
        if self.probe_out_s is None or bench.water is None:
            return bench
        spoilt = (*bench.water.spoilt, Spoilt("out", *self.probe_out_s))
        return replace(bench, water=replace(bench.water, spoilt=spoilt))

    def of_load(self, t_s: NDArray[np.float64], load_g: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the load on the cell under the stove at seconds of the record, g."""
        if self.tips_s is None:
            return load_g
        gone = np.clip((t_s - self.tips_s) / TIPS_OVER_S, 0.0, 1.0)
        return np.asarray((1.0 - gone) * load_g + gone * self.left_g)


NONE = Mishaps()
"""Nothing goes wrong."""
