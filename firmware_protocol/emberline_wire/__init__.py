"""The wire between a bench's microcontroller and its host, without any input or output of its own."""
