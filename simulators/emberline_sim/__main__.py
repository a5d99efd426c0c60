"""`python -m emberline_sim`."""

from emberline_sim.command import main

main(prog_name="python -m emberline_sim")
