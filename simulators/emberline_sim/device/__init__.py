"""The simulated bench's microcontroller: converters, sample rings, and the device's side of the protocol."""
