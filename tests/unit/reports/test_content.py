from dataclasses import replace

import pytest
from uncertainties import ufloat

from emberline.curves.events import Event, EventKind, Phase
from emberline.heat.phases import PhaseResult
from emberline.heat.result import QualityNote, Result
from emberline.reports import content
from unit.reports.made_up_burn import make_burn


def spaced(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


def test_headlines_are_always_six_and_say_why_one_is_missing() -> None:
    whole, burning = content.headlines(make_burn()), content.headlines(make_burn(flameout=False))
    assert len(whole) == len(burning) == 6
    assert whole[0].aside.replace("\N{NO-BREAK SPACE}", " ") == "7 min 54 s"
    missing = next(headline for headline in burning if headline.title == "Burn time")
    assert missing.parts is None
    assert missing.aside == "no flameout was found: the record ends while it burns"


def test_events_count_from_lit_and_say_who_announced_them() -> None:
    events = (
        Event(EventKind.LIT, 30.0, 1.0, "button", by_person=True, announced_t_s=30.0),
        Event(EventKind.STEP, 90.0, 1.0, "poke", ufloat(-1.5, 0.3), confirmed=False),
        Event(EventKind.REFUEL, 150.0, 1.0, "step", ufloat(60.0, 0.3), announced_t_s=171.0),
    )
    rows = content.event_rows(make_burn(events=events))
    assert [row.number for row in rows] == [1, 2, 3]
    assert [row.announced for row in rows] == ["set by a person", "afterwards only", "2:21"]
    assert [spaced(row.time) for row in rows] == ["0:00.0 ± 2.0 s", "1:00.0 ± 2.0 s", "2:00.0 ± 2.0 s"]
    assert [spaced(row.size) for row in rows] == ["", "−1.5 ± 0.6 g", "+60.0 ± 0.6 g"]
    assert [row.remark for row in rows] == ["", "unconfirmed", ""]


def test_shares_of_a_budget_are_of_the_variance_and_sum_to_all() -> None:
    burn = make_burn()
    heat, wet = ufloat(1.0, 0.3, tag="fuel.lhv_dry_j_g"), ufloat(1.0, 0.4, tag="fuel.moisture_wet")
    small = sum(ufloat(0.0, 0.01, tag=f"small_{i}") for i in range(9))
    burn.results.values.clear()
    burn.results.values["thermal_efficiency"] = Result(heat + wet + small, "")
    (row,) = content.budget_rows(burn)
    # Each with its own 95 % half-width: 1.96 times 40 and 30 percentage points.
    assert [(share.title, spaced(share.half), share.percent) for share in row.shares] == [
        ("moisture of the fuel", "± 80 %", 64),
        ("heating value, fuel", "± 60 %", 36),
    ]


def test_phases_stand_in_their_order_with_a_dash_for_what_is_not_known() -> None:
    burn = make_burn()
    known = Result(ufloat(12.5, 0.25), "g")
    lasted = Result(ufloat(120.0, 5.0), "s")
    char = PhaseResult(Phase.CHAR, 1680.0, 1800.0, lasted, known, None, None, None)
    (row,) = content.phase_rows(replace(burn, results=replace(burn.results, phases=(char,))))
    assert (row.name, row.start, row.rate, row.water) == ("char", "26:30", "–", "–")
    assert spaced(row.lost) == "12.5 ± 0.5"
    assert spaced(row.duration) == "120 ± 10"


def test_a_result_that_is_exact_has_no_budget() -> None:
    burn = make_burn()
    burn.results.values.clear()
    burn.results.values["char_left"] = Result(52.0 + 0.0 * ufloat(1.0, 1.0), "g")
    assert content.budget_rows(burn) == []


def test_results_stand_in_groups_with_unknown_ones_last() -> None:
    burn = make_burn()
    burn.results.values["heat_of_steam"] = Result(ufloat(1.0, 0.1), "J")
    groups = content.result_groups(burn)
    assert [title for title, _ in groups] == ["Time", "Burning", "Heat into water", "Mass", "Other"]
    assert [row.title for row in groups[0][1]] == ["Time to boil", "Burn time"]
    assert groups[-1][1][0].title == "Heat of steam"


def test_results_held_back_for_one_reason_stand_together() -> None:
    assert ("Time to boil, thermal efficiency, water evaporated", "no pot stood on the stove") in content.absent_rows(
        make_burn(pot=False)
    )


def test_a_note_that_repeats_an_events_evidence_is_told_once_only() -> None:
    burn = make_burn()
    notes = (QualityNote("boil_unconfirmed", "The boil is not confirmed: as in the table."), *burn.quality)
    texts = content.quality_texts(replace(burn, quality=(*notes, *notes)))
    assert texts == [note.text for note in (*burn.quality, *burn.results.quality)]


def test_visits_and_retractions_are_told_in_minutes_from_lit() -> None:
    burn = make_burn()
    (visit,) = content.visit_rows(burn)
    assert (visit.pot_on, visit.boil, visit.pot_off) == ("1:00", "8:54", "15:18")
    assert content.retractions(burn) == [
        "Flameout was announced at 15:20 and taken back at 15:52: the flame came back after the refuel"
    ]


@pytest.mark.parametrize("options", [{}, {"events": (), "pot": False, "mass": False, "flameout": False}])
def test_the_description_names_the_events_or_says_there_are_none(options: dict[str, bool]) -> None:
    text = content.described(make_burn(**options))  # type: ignore[arg-type]
    assert ("flameout at 26:30" in text) != ("No event was found" in text)
