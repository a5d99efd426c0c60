"""What can go wrong where readings come in, each with what to do about it."""


class LinkError(Exception):
    """Root of all errors of this package; the message says what to do."""


class LinkLostError(LinkError):
    """An open link broke, or fell silent."""


class RecordingError(LinkError):
    """A recorded table cannot be read, or does not hold what is needed."""
