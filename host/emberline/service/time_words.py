"""Moments and spans of time as people and programs read them."""

from datetime import UTC, datetime


def iso(t_ns: int) -> str:
    """Return a moment as ISO 8601 in UTC, to the millisecond."""
    moment = datetime.fromtimestamp(t_ns // 1_000_000_000, UTC).replace(microsecond=t_ns % 1_000_000_000 // 1000)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def span_words(seconds: float) -> str:
    """Return a span of time in its two largest units."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s"
    if whole < 86_400:
        return f"{whole // 3600} h {whole % 3600 // 60} min"
    return f"{whole // 86_400} d {whole % 86_400 // 3600} h"
