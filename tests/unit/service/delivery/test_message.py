from dataclasses import replace

from emberline.service.alarms import AlarmNews, Happening
from emberline.service.delivery.message import CAUTION, message_of
from emberline.trials.alarms import AlarmKind
from emberline.trials.live_document import AlarmShown

ALARM = AlarmShown(AlarmKind.LOAD_GONE, "The load fell from 700 g to 0 g.", 1_764_072_000 * 10**9)


def test_it_says_what_where_and_when_in_the_readers_time() -> None:
    message = message_of(AlarmNews("yard", Happening.RAISED, ALARM), "Europe/Oslo")
    assert message.title == "Alarm: The load is gone: the stove may have tipped over (yard)"
    assert message.text.splitlines()[:2] == ["The load fell from 700 g to 0 g.", "Raised at 13:00:00 on bench yard."]
    assert CAUTION in message.text
    assert (message.happening, message.bench, message.kind) == ("raised", "yard", "load_gone")


def test_it_says_who_has_seen_it_and_that_it_has_gone() -> None:
    seen = replace(ALARM, acknowledged_ns=1, acknowledged_by="Ada")
    message = message_of(AlarmNews("yard", Happening.ACKNOWLEDGED, seen), "UTC")
    assert message.title.startswith("Acknowledged: The load is gone")
    assert "Acknowledged by Ada." in message.text
    assert (
        "somebody" in message_of(AlarmNews("yard", Happening.ACKNOWLEDGED, replace(seen, acknowledged_by="")), "").text
    )
    assert message_of(AlarmNews("yard", Happening.GONE, ALARM), "UTC").title.startswith("Its cause has gone: ")
    assert message_of(AlarmNews("yard", Happening.STILL, ALARM), "UTC").title.startswith("Alarm, still: ")
