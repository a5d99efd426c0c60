"""Emberline: the host side of a bench on which small wood-gas stoves are tested."""

__version__ = "0.1.0"
