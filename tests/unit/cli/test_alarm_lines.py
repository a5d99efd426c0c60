import io
from typing import Any

from rich.console import Console

from emberline.cli.alarm_lines import alarm_lines, alarm_table, told_again
from emberline.cli.readout import Readout
from unit.cli.test_readout import drawn, live

ALARM = {
    "kind": "load_gone",
    "title": "The load is gone: the stove may have tipped over",
    "text": "The load fell from 1,700 g to 3 g.",
    "raised_ns": 535_000_000_000,
    "cleared_ns": None,
    "acknowledged_ns": None,
    "acknowledged_by": "",
    "told": 1,
}


def alarmed(**changes: Any) -> dict[str, Any]:
    return live(alarms=[{**ALARM, **changes}])


def test_an_alarm_is_a_line_when_it_is_raised_and_each_time_it_is_told_again() -> None:
    (line,) = alarm_lines(live(), alarmed())
    assert line.startswith("  !! The load is gone: the stove may have tipped over. The load fell")
    assert "emberline acknowledge" in line
    assert alarm_lines(alarmed(), alarmed()) == []
    assert len(alarm_lines(alarmed(), alarmed(told=2))) == 1
    assert len(alarm_lines(None, alarmed())) == 1


def test_who_has_seen_it_and_that_its_cause_has_gone_are_lines_too() -> None:
    seen = alarmed(acknowledged_ns=1, acknowledged_by="Ada")
    assert alarm_lines(alarmed(), seen) == [
        "  !! acknowledged by Ada: The load is gone: the stove may have tipped over"
    ]
    gone = ["  !! its cause has gone: The load is gone: the stove may have tipped over"]
    assert alarm_lines(alarmed(), alarmed(cleared_ns=2)) == gone
    assert alarm_lines(seen, live()) == gone
    assert alarm_lines(alarmed(cleared_ns=2), live()) == []


def test_a_terminal_rings_when_an_alarm_is_told_and_not_otherwise() -> None:
    assert told_again(None, alarmed())
    assert told_again(live(), alarmed())
    assert not told_again(alarmed(), alarmed())
    assert told_again(alarmed(), alarmed(told=2))
    assert not told_again(alarmed(), live())
    console = Console(file=io.StringIO(), force_terminal=True, width=100)
    with Readout(console) as readout:
        readout.show({"live": live()})
        before = console.file.getvalue()  # type: ignore[attr-defined]
        readout.show({"live": alarmed()})
        after = console.file.getvalue()  # type: ignore[attr-defined]
    assert "\a" not in before
    assert "\a" in after[len(before) :]


def test_the_panel_shows_alarms_first_with_their_age_and_what_to_do() -> None:
    text = " ".join(drawn(alarmed(), []).split())
    assert "The load is gone: the stove may have tipped over" in text
    assert "1 min 5 s ago; say `emberline acknowledge` once you have seen it" in text
    assert text.index("The load is gone") < text.index("water")
    seen = " ".join(drawn(alarmed(acknowledged_ns=1, acknowledged_by="Ada", cleared_ns=2), []).split())
    assert "its cause has gone; acknowledged by Ada" in seen
    assert alarm_table(live()).row_count == 0
