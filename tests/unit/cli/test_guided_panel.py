from io import StringIO
from typing import Any

from rich.console import Console

from emberline.cli.guided_panel import closing_lines, figure, keys, offer_lines, panel, plain_lines
from emberline.trials.guide.screen import screen
from unit.trials.guide.guided import POT, Person


def stove_screen() -> dict[str, Any]:
    person = Person()
    person.does("begin", pot=POT.name, with_pot=True)
    person.does("go", step="stove")
    person.table.put(640.0)
    person.looks()
    return screen(person.guide, person.seen)


def drawn(document: dict[str, Any], typed: str = "", note: str = "") -> str:
    console = Console(width=100, file=StringIO(), highlight=False)
    with console.capture() as capture:
        console.print(panel(document, typed, note))
    return capture.get()


def test_a_question_is_drawn_with_its_reading_in_large_figures() -> None:
    shown = drawn(stove_screen(), "64", "grams")
    assert "5 of" in shown
    assert "Put the empty stove on the scale." in shown
    assert "█" in shown
    assert "64▏" in shown
    assert "grams" in shown
    assert "Enter: 6" in shown


def test_what_is_not_steady_says_so() -> None:
    document = stove_screen()
    document["reading"] = {"value": 12.3, "u": 9.0, "unit": "g", "steady": False, "words": "on the scale"}
    assert "not steady yet" in drawn(document)
    document["reading"]["value"] = None
    assert "no reading" in drawn(document)


def test_the_same_is_said_in_plain_lines() -> None:
    lines = plain_lines(stove_screen())
    assert lines[1].startswith("[5 of")
    assert "Empty stove: Put the empty stove on the scale." in lines[1]
    assert "s: skip" in lines[-1]


def test_each_offer_has_its_key_and_its_reckoning() -> None:
    document = stove_screen()
    document["offers"] = [
        {"how": "added", "value": 330.14, "u": 0.31, "unit": "g", "words": "970.1 g now, 640.0 g before"},
        {"how": "alone", "value": 970.1, "u": 0.5, "unit": "g", "words": "970.1 g now, 0.0 g on the cleared scale"},
    ]
    first, second = offer_lines(document)
    assert first == "Enter: 330.1 ± 0.6 g added (970.1 g now, 640.0 g before)"
    assert second.startswith("a: 970.1 ± 1.0 g on the cleared scale")


def test_keys_are_named_where_they_do_something() -> None:
    document = stove_screen()
    assert "b: back" in keys(document)
    assert "open the trial" in keys({**document, "step": "ready", "can_skip": False})
    assert "s: skip" not in keys({**document, "can_skip": False})


def test_a_number_without_uncertainty_has_no_half_width() -> None:
    assert figure({"value": 312.0, "u": 0.0, "unit": "g"}) == "312 g"


def test_what_was_left_out_and_what_would_help_is_said_in_the_end() -> None:
    lines = closing_lines(
        {"missing": ["The cold char was not weighed."], "advice": ["weigh it: ± 2 % would become ± 1 %."]}
    )
    assert lines[:2] == ["Left out:", "  The cold char was not weighed."]
    assert any("would become" in line for line in lines)
    assert "95 %" in lines[-1]
