"""Errors of comparisons: one tree."""


class ComparisonError(Exception):
    """Trials cannot be compared as asked; the message says why and what to do."""
