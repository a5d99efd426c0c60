"""Errors of the heat package: one tree."""


class HeatError(Exception):
    """The energy account of a burn cannot be drawn up."""


class AbsentError(HeatError):
    """A result cannot be computed; the message says what is missing and what a person can do about it."""
