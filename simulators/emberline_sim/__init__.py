"""A simulated bench: the burn, the pot, the sensors, the microcontroller, and what goes wrong with them."""
