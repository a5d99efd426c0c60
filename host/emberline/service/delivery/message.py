"""What is said of an alarm to people who are not looking."""

from dataclasses import dataclass
from datetime import datetime

from emberline.service.alarms import AlarmNews, Happening
from emberline.store.trials import zone_named

CAUTION = "A program that watches a fire is no substitute for a person beside it, nor for a certified alarm."
_OPENING = {
    Happening.RAISED: "Alarm",
    Happening.STILL: "Alarm, still",
    Happening.ACKNOWLEDGED: "Acknowledged",
    Happening.GONE: "Its cause has gone",
}


@dataclass(frozen=True, slots=True)
class Message:
    """A message.

    Attributes:
        title: One line.
        text: What is to be known, in some lines.
        happening: What happened: `raised`, `still`, `acknowledged` or `gone`.
        bench: Id of the bench.
        kind: Kind of the alarm.
    """

    title: str
    text: str
    happening: str
    bench: str
    kind: str


def message_of(news: AlarmNews, zone: str) -> Message:
    """Return the message about something that happened to an alarm.

    Args:
        news: What happened.
        zone: Name of the time zone in which a person reads times.
    """
    alarm = news.alarm
    raised = datetime.fromtimestamp(alarm.raised_ns / 1e9, zone_named(zone))
    lines = [alarm.text, f"Raised at {raised:%H:%M:%S} on bench {news.bench}."]
    if news.happening is Happening.ACKNOWLEDGED:
        lines.append(f"Acknowledged by {alarm.acknowledged_by or 'somebody'}.")
    if news.happening in (Happening.RAISED, Happening.STILL):
        lines += ["Say on the bench's page, or by `emberline acknowledge`, that you have seen it.", CAUTION]
    title = f"{_OPENING[news.happening]}: {news.title} ({news.bench})"
    return Message(title, "\n".join(lines), news.happening.value, news.bench, alarm.kind.value)
