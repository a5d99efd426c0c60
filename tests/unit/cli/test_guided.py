from typing import Any

import pytest

from emberline.cli.guided import answer_of

FUEL: dict[str, Any] = {
    "step": "fuel",
    "takes": False,
    "listed": None,
    "wait": "",
    "fields": [{"key": "fuel.mass_g", "label": "fuel", "unit": "g", "value": ""}],
}


@pytest.mark.parametrize(
    ("line", "request_"),
    [
        ("", {"act": "take", "values": {}}),
        ("330 ± 1", {"act": "type", "values": {"fuel.mass_g": "330 ± 1"}}),
        (" s ", {"act": "skip"}),
        ("b", {"act": "back"}),
        ("t", {"act": "tare"}),
        ("a", {"act": "take", "offer": 1, "values": {}}),
        ("q", None),
    ],
)
def test_a_line_means_one_thing(line: str, request_: dict[str, Any] | None) -> None:
    assert answer_of(FUEL, line, {}) == request_


@pytest.mark.parametrize(("step", "act"), [("ready", "open"), ("burn", "next"), ("snuff", "mark")])
def test_a_blank_line_goes_on_where_nothing_is_weighed(step: str, act: str) -> None:
    assert answer_of({**FUEL, "step": step}, "", {}) == {"act": act, "values": {}}


def test_a_listed_pot_is_kept_unless_one_stands_on_the_scale() -> None:
    listed = {**FUEL, "step": "pot", "listed": {"value": 312.0, "u": 0.4, "unit": "g"}}
    assert answer_of(listed, "", {}) == {"act": "skip"}
    assert answer_of({**listed, "takes": True}, "", {}) == {"act": "take", "values": {}}


def test_hot_char_is_left_for_later() -> None:
    assert answer_of({**FUEL, "step": "char", "wait": "hot"}, "", {}) == {"act": "skip"}


def test_a_pot_weighed_afterwards_is_asked_for_as_a_balance_shows_it() -> None:
    keys = ["pot.final_water_g", "pot.with_water_g"]
    after = {**FUEL, "step": "pot_after", "fields": [{"key": key} for key in keys]}
    assert answer_of(after, "742", {}) == {"act": "type", "values": {"pot.with_water_g": "742"}}


def test_what_was_typed_before_is_sent_with_what_follows() -> None:
    typed = {"place.altitude_m": "200"}
    place = {**FUEL, "step": "place", "fields": [{"key": "place.altitude_m"}, {"key": "place.ambient_c"}]}
    assert answer_of(place, "", typed) == {"act": "type", "values": typed}
