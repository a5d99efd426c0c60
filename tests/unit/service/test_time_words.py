import pytest

from emberline.service.time_words import iso, span_words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.4, "0 s"),
        (59.4, "59 s"),
        (59.6, "1 min 0 s"),
        (3599.0, "59 min 59 s"),
        (7_260.0, "2 h 1 min"),
        (90_000, "1 d 1 h"),
    ],
)
def test_spans_have_two_units(seconds: float, words: str) -> None:
    assert span_words(seconds) == words


def test_moments_are_iso_8601() -> None:
    # 1764072000 s after the epoch: `date -u -d @1764072000` of GNU coreutils.
    assert iso(1_764_072_000_123_000_000) == "2025-11-25T12:00:00.123Z"
