from uncertainties import ufloat

from emberline.curves.events import Event, EventKind
from emberline.store.records import Trial
from emberline.web.burn_events import burn_rows, lit_s, local_time

NOON_NS = 1_764_072_000_000_000_000
TRIAL = Trial(
    id="2025-11-25-1",
    bench="yard",
    label=None,
    origin="live",
    source=None,
    start_ns=NOON_NS,
    end_ns=None,
    zone="Europe/Berlin",
    relative=False,
    remarks=(),
    created_ns=NOON_NS,
    bench_text="",
    plan_text="",
)
EVENTS = [
    Event(EventKind.LIT, 60.0, 2.0, "mass falls", announced_t_s=75.0),
    Event(EventKind.POT_ON, 150.0, 1.0, "load rose", size_g=ufloat(348.0, 0.2)),
    Event(EventKind.BOIL, 400.0, 3.0, "plateau", confirmed=False),
    Event(EventKind.POT_OFF, 450.0, 1.0, "load fell", size_g=ufloat(-327.0, 0.3), by_person=True),
    Event(EventKind.NOTE, 470.0, 1.0, "smoke", by_person=True),
]


def test_the_newest_comes_first_with_times_from_lit_and_on_the_clock() -> None:
    rows = burn_rows(EVENTS, TRIAL)
    assert [row.name for row in rows] == ["remark", "pot off", "boil", "pot on", "lit"]
    assert rows[-1].since.startswith("0:00")
    assert rows[2].since == "5:40\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}6\N{NO-BREAK SPACE}s"
    # Noon UTC is 13:00 in Berlin in November.
    assert rows[-1].clock == "13:01:00 +0100"


def test_sizes_have_signs_and_doubts_are_told() -> None:
    rows = {row.name: row for row in burn_rows(EVENTS, TRIAL)}
    assert rows["pot on"].size.startswith("+348.0")
    assert rows["pot off"].size.startswith("\N{MINUS SIGN}327.0")
    assert (rows["pot off"].aside, rows["boil"].aside, rows["remark"].aside) == ("set by a person", "unconfirmed", "")


def test_before_the_fire_times_are_from_the_first_sample() -> None:
    assert lit_s(EVENTS[1:]) is None
    assert burn_rows(EVENTS[1:2], None)[0].since.startswith("2:30")
    assert burn_rows(EVENTS[1:2], None)[0].clock == ""


def test_a_zone_that_this_machine_does_not_know_is_utc() -> None:
    assert local_time(NOON_NS, "Nowhere/Land") == "12:00:00 +0000"
