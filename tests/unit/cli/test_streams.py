import io
import sys

import pytest
from rich.console import Console

from emberline.cli.streams import PLAIN, can_draw, echo_utf8, fit_streams


def fitted_to_ascii(monkeypatch: pytest.MonkeyPatch) -> io.BytesIO:
    """Lead standard output into bytes, by an encoding that has few signs, and fit it."""
    bytes_out = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(bytes_out, encoding="ascii"))
    monkeypatch.setattr(sys, "stderr", io.TextIOWrapper(io.BytesIO(), encoding="ascii"))
    fit_streams()
    return bytes_out


def test_a_stream_without_the_signs_gets_plain_words_instead(monkeypatch: pytest.MonkeyPatch) -> None:
    ascii_out = fitted_to_ascii(monkeypatch)
    print("402.0 ± 3.3 s, −5 °C – Bäume, 10 m², \N{SNOWMAN}", flush=True)  # noqa: T201
    assert ascii_out.getvalue().decode() == "402.0 +/- 3.3 s, -5 degC - Baume, 10 m2, ?\n"


def test_what_stands_for_a_sign_can_be_shown_anywhere() -> None:
    assert all(plain.isascii() and plain.isprintable() for plain in PLAIN.values())


def test_documents_for_programs_are_utf_8_whatever_the_locale_is(monkeypatch: pytest.MonkeyPatch) -> None:
    ascii_out = fitted_to_ascii(monkeypatch)
    echo_utf8('{"unit": "°C"}\n')
    assert ascii_out.getvalue() == '{"unit": "°C"}\n'.encode()


def test_lines_are_drawn_over_only_where_the_cursor_moves(monkeypatch: pytest.MonkeyPatch) -> None:
    def console() -> Console:
        return Console(force_terminal=True, file=io.StringIO())

    monkeypatch.setenv("TERM", "xterm")
    assert can_draw(console())
    assert not can_draw(Console(file=io.StringIO()))
    monkeypatch.setenv("TERM", "dumb")
    assert not can_draw(console())
