"""A second simulator of burns, of another model form than the first, so that no host can be tuned to one of them.

Its bed is made of parcels that each warm, dry, pyrolyse and glow by themselves; a front is not assumed but comes about.
Its flame lives while the bed gives off more volatiles than a critical flux, and dies or catches by chance near it. Its
pot stirs, bubbles and steams by laws of heat and mass transfer. It shares steam properties and the types of a recording
with the first simulator, no physics.
"""

from emberline_sim.particles.burn import ParticleBurn, random_burn
from emberline_sim.particles.kinds import KINDS
from emberline_sim.particles.mishaps import Mishaps

__all__ = ["KINDS", "Mishaps", "ParticleBurn", "random_burn"]
