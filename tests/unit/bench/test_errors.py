from emberline.bench.errors import (
    BenchError,
    BenchFileError,
    CalibrationError,
    OutOfRangeError,
    PlanError,
    Problem,
    TextError,
)


def test_all_errors_share_one_root() -> None:
    for error in (OutOfRangeError, CalibrationError, TextError, PlanError, BenchFileError):
        assert issubclass(error, BenchError)


def test_a_text_error_lists_every_problem_with_its_line() -> None:
    error = PlanError((Problem("too wet", 3), Problem("too heavy")))
    assert str(error) == "line 3: too wet\ntoo heavy"
    assert error.problems[0].line == 3
