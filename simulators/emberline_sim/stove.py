"""What the burn does to the stove's own body, to the air column in it, and to the load cell below."""

import math

BODY_CAPACITY_J_K = 320.0
BODY_TAKES = 0.16
BODY_LOSS_W_K = 0.9
COLUMN_S = 9.0
CELL_S = 1500.0


class StoveBody:
    """Slow states beside the burn: the body's heat, the draught's strength, the cell's warming."""

    def __init__(self, ambient_c: float, nominal_power_w: float, cell_rise_c: float) -> None:
        """Start cold.

        Args:
            ambient_c: Air temperature.
            nominal_power_w: Power at which draught is 1 and the cell warms by `cell_rise_c` in the long run.
            cell_rise_c: That warming.

        """
        self.body_c = ambient_c
        self.cell_c = ambient_c
        self.draught = 0.0
        self._nominal_w = max(nominal_power_w, 1.0)
        self._cell_rise_c = cell_rise_c

    def step(self, dt_s: float, flame_w: float, char_w: float, ambient_c: float) -> None:
        """Advance by `dt_s`."""
        gain_w = BODY_TAKES * flame_w + 0.35 * char_w - BODY_LOSS_W_K * (self.body_c - ambient_c)
        self.body_c += gain_w * dt_s / BODY_CAPACITY_J_K
        # Draught goes with the temperature of the column, which a third of the power already heats well.
        strength = math.tanh(1.5 * flame_w / self._nominal_w) / math.tanh(1.5)
        self.draught += (strength - self.draught) * dt_s / COLUMN_S
        target_c = ambient_c + self._cell_rise_c * (flame_w + 0.6 * char_w) / self._nominal_w
        self.cell_c += (target_c - self.cell_c) * dt_s / CELL_S
