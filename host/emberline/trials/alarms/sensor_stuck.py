"""A sensor that shows exactly the same while the flame burns: its converter or its wiring is dead, not the fire calm.

A flame flickers by degrees, and the load cell's weight falls while fuel burns. Water stands still where it boils, and
air and carbon monoxide may, so nothing is said of those.
"""

from emberline.bench.channels import Role
from emberline.trials.alarms.alarm import Danger, Safe, Verdict
from emberline.trials.alarms.look import Look

STUCK_S = 300
"""Time without any change. A stove that flames burns a gram a minute at least, most of them several (common practice,
no source)."""
COARSEST_G = 1.0
"""Step of a scale above which its readings may stand still for so long."""
FLICKERS = (Role.FLAME, Role.MASS)


class SensorStuck:
    """Watches what must move while a flame burns."""

    def look(self, look: Look) -> Verdict:
        """Look at the newest minutes."""
        if look.flame_s is None or look.second - look.flame_s < STUCK_S:
            return Safe()
        found = {role: _stuck(look, role) for role in FLICKERS if role in look.channels}
        stuck = [role for role, still in found.items() if still]
        if stuck:
            names = " and ".join(look.channels[role].name for role in stuck)
            return Danger(
                f"{names}: the same reading for {STUCK_S // 60} min while the flame burns. See to the sensor and its"
                " wiring.",
                rank=len(stuck),
            )
        return Safe() if found and None not in found.values() else None


def _stuck(look: Look, role: Role) -> bool | None:
    """Return whether a channel stands still; None where nobody can tell."""
    if look.channels[role].unit == "g" and look.channels[role].resolution > COARSEST_G:
        return False
    values = look.recent_array(role, STUCK_S)
    if len(values) < STUCK_S // 2:
        return None
    return bool(values.min() == values.max())
