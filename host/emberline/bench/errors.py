"""Errors of the bench package: one tree, whose messages say what to do."""

from dataclasses import dataclass


class BenchError(Exception):
    """Something about a bench or a plan is wrong, and the message says how to put it right."""


class OutOfRangeError(BenchError, ValueError):
    """A physical value lies outside the range in which the asked function is defined."""


class CalibrationError(BenchError, ValueError):
    """A calibration cannot be made, or cannot be applied, with what was given."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in a text that a person wrote.

    Attributes:
        text: What is wrong and what to write instead.
        line: Line number from 1; None where no line can be named.
    """

    text: str
    line: int | None = None

    def __str__(self) -> str:
        return self.text if self.line is None else f"line {self.line}: {self.text}"


class TextError(BenchError, ValueError):
    """A plan or bench text has problems; all of them are listed at once.

    Attributes:
        problems: What is wrong, in the order of the text.
    """

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = problems


class PlanError(TextError):
    """A plan text cannot be used."""


class BenchFileError(TextError):
    """A bench text cannot be used."""
