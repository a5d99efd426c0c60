import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

import emberline.reports
from emberline.curves.events import EventKind
from emberline.reports.caution import CAUTION_CLOSE, CAUTION_POINTS
from emberline.reports.page import summary_page, summary_texts
from emberline.trials.corrections import Correction, Exclude, MoveEvent, Target, Undo
from unit.reports.made_up_burn import PLAN, make_burn

VOID = {"meta", "path", "use", "br", "rect", "line"}
CASES: dict[str, dict[str, Any]] = {
    "whole": {},
    "no pot": {"pot": False},
    "no load cell": {"mass": False},
    "no flameout": {"flameout": False},
    "many events": {"steps": 30},
    "very long": {"seconds": 20_000},
    "no plan": {"plan": ""},
    "nothing found": {"pot": False, "mass": False, "flameout": False, "events": (), "plan": ""},
}


@cache
def page_of(case: str) -> str:
    return summary_page(make_burn(**CASES[case]), started="25 November 2026, 14:02")


class Reader(HTMLParser):
    """Checks that tags close in order and keeps ids, texts and headings."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.headings: list[str] = []
        self.text = ""
        self.header_cells_without_scope = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if found.get("id"):
            self.ids.append(str(found["id"]))
        self.header_cells_without_scope += tag == "th" and "scope" not in found
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] in ("h1", "h2"):
            self.headings.append(data.strip())
        if self.open and self.open[-1] not in ("style", "title", "desc"):
            self.text += data


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


@pytest.mark.parametrize("case", CASES)
def test_every_burn_gives_a_sound_page(case: str) -> None:
    page = page_of(case)
    reader = read(page)
    assert len(reader.ids) == len(set(reader.ids))
    assert reader.header_cells_without_scope == 0
    assert "nan" not in re.findall(r"[a-z]+", reader.text)
    assert "None" not in reader.text
    for point in (*CAUTION_POINTS, CAUTION_CLOSE):
        assert point in reader.text


def test_the_page_stands_alone() -> None:
    page = page_of("whole")
    assert "://" not in page
    assert not re.search(r"<(script|link|img|iframe|object|base)\b", page)
    assert not re.search(r"\b(src|href)=\"(?!#)", page)
    assert not re.search(r"url\((?!#)|@import", page)


def test_the_same_burn_gives_the_same_bytes() -> None:
    assert summary_page(make_burn(), started="25 November 2026, 14:02") == page_of("whole")


def test_what_a_person_typed_is_text_and_never_markup() -> None:
    plan = PLAN.replace("Beech offcuts, narrow holes", "<script>alert(1)</script> & co").replace("beech-b", "<b>lot")
    page = summary_page(make_burn(plan=plan), started="<i>noon</i>")
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; co" in page
    assert "<b>lot" not in page
    assert "<i>noon" not in page
    assert "unexplained &lt;load&gt;" in page


def test_the_page_tells_what_was_burnt_found_and_worked_out() -> None:
    text = read(page_of("whole")).text.replace("\N{NO-BREAK SPACE}", " ")
    for expected in (
        "Beech offcuts, narrow holes, second burn", "begun 25 November 2026, 14:02", "16 x 5 mm",
        "280.0 ± 1.0 g as weighed",
        "moisture 10.0 ± 2.0 % (wet basis)", "474.0", "8:54.0 ± 3.1 s", "26:30 ± 12 s", "plateau of 98.4 °C",
        "no phase of low power was run", "12 ± 8 % was assumed",
        "Flameout was announced at 15:20 and taken back at 15:52", "(unconfirmed)", "afterwards only",
        "± is half the width of the 95 % interval", "JCGM 100:2008", "ISO 19867-1:2018", "IAPWS-IF97",
    ):  # fmt: skip
        assert expected in text


def test_what_a_person_changed_is_told_with_what_it_was_before() -> None:
    log = (
        Correction(1, 0, "Ana", "the lid <rattled>", MoveEvent(Target(EventKind.BOIL, 700.0), 690.0, 3.0)),
        Correction(2, 10**9, "Ben", "a door stood open", Exclude()),
        Correction(3, 2 * 10**9, "Ana", "", Undo(1)),
    )
    texts = summary_texts(replace(make_burn(), log=log), zone=ZoneInfo("Europe/Vienna"))
    text = read(texts.page).text.replace("\N{NO-BREAK SPACE}", " ")
    for expected in (
        "Excluded: a door stood open (Ben)", "Boil moved to 10:00 ± 6 s", "before: 10:10", "the lid <rattled>",
        "taken back by correction 3", "Ana, 1970-01-01 01:00:00 +0100",
    ):  # fmt: skip
        assert expected in text
    assert "Corrections" not in read(page_of("whole")).headings


def test_the_parts_for_another_page_stand_by_themselves() -> None:
    texts = summary_texts(make_burn())
    for part in (texts.head, texts.rest):
        assert 'style="' not in part
        read(part)
    assert texts.picture.startswith('<svg xmlns="http://www.w3.org/2000/svg"')
    read(texts.picture)


def test_a_missing_headline_gives_its_reason() -> None:
    text = read(page_of("no flameout")).text
    assert text.count("no flameout was found: the record ends while it burns") >= 2


def test_without_a_plan_the_page_says_so() -> None:
    reader = read(page_of("no plan"))
    assert "there is no plan for this trial" in reader.text
    assert reader.headings[0] == "Burn 2026-11-25-1"


def relative_luminance(colour: str) -> float:
    """Follow WCAG 2.2, definition of relative luminance."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    high, low = sorted((relative_luminance(a), relative_luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_reference_gives_the_standards_extremes() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("name", ["ink", "faint", "warm"])
@pytest.mark.parametrize("ground", ["sheet", "paper"])
def test_text_contrast_meets_wcag_aa(name: str, ground: str) -> None:
    """WCAG 2.2, success criterion 1.4.3: at least 4.5:1 for body text."""
    css = Path(str(emberline.reports.__file__)).with_name("templates").joinpath("summary.css").read_text("utf-8")
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", css))
    assert contrast(colours[name], colours[ground]) >= 4.5
