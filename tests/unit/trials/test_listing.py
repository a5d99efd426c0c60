"""What a list shows of a trial."""

import json
from dataclasses import replace

from emberline.curves.events import Event, EventKind
from emberline.trials.analysis import Analysis
from emberline.trials.corrections import AddEvent, Correction, Exclude, Undo
from emberline.trials.listing import SPARK_POINTS, listing_document, spark
from unit.reports.made_up_burn import make_burn

MOVED = Correction(1, 0, "Ana", "", AddEvent(EventKind.BOIL, 500.0, 1.0))
WINDY = Correction(2, 0, "Ben", "a door stood open", Exclude())


def analysis(*log: Correction) -> Analysis:
    return replace(make_burn(), log=log)


def test_a_listing_is_small_and_plain() -> None:
    document = listing_document(analysis())
    text = json.dumps(document, allow_nan=False)
    assert len(text) < 4_000
    assert json.loads(text) == document
    value, u, unit = document["results"]["burn_time"]
    assert (value, unit) == (1590.0, "s")
    assert 0.0 < u < 10.0
    assert "16 x 5 mm" in document["factors"].values()
    assert (document["excluded"], document["corrected"], document["corrections"]) == (None, False, 0)


def test_flags_follow_the_corrections_that_hold() -> None:
    both = listing_document(analysis(MOVED, WINDY))
    assert (both["excluded"], both["corrected"], both["corrections"]) == ("a door stood open", True, 2)
    undone = listing_document(analysis(MOVED, Correction(2, 0, "Ben", "", Undo(1))))
    assert (undone["corrected"], undone["corrections"]) == (False, 2)
    assert not listing_document(analysis(WINDY))["corrected"]
    remark = Correction(1, 0, "Ana", "low power", AddEvent(EventKind.NOTE, 500.0, 1.0))
    assert not listing_document(analysis(remark))["corrected"]


def test_a_burn_that_failed_says_why_and_a_doubtful_boil_is_flagged() -> None:
    failed = listing_document(make_burn(flameout=False))
    assert failed["absent"] == {"burn_time": "no flameout was found: the record ends while it burns"}
    assert listing_document(analysis())["absent"] == {}
    doubtful = Event(EventKind.BOIL, 500.0, 3.0, "a plateau", confirmed=False)
    assert listing_document(replace(make_burn(), events=(doubtful,)))["unconfirmed_boil"]


def test_remarks_can_be_searched() -> None:
    note = Event(EventKind.NOTE, 500.0, 1.0, "wind got up", by_person=True)
    assert listing_document(replace(make_burn(), events=(note,)))["notes"] == ["wind got up"]


def test_the_small_curve_has_few_points_and_none_where_nothing_is_known() -> None:
    points = spark(make_burn())
    assert len(points) == SPARK_POINTS
    known = [point for point in points if point is not None]
    assert 5.0 < max(known) < 20.0
    assert set(spark(make_burn(mass=False))) == {None}
