"""Where readings come in: bytes, messages and recorded tables."""
