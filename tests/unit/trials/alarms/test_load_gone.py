import pytest

from emberline.bench.channels import Role, default_channel
from emberline.bench.plan import Plan, empty_plan
from emberline.trials.alarms.alarm import Danger
from emberline.trials.alarms.load_gone import LoadGone
from unit.trials.alarms.looked_at import (
    BARE,
    CHANNELS,
    PLAN,
    all_clear,
    dangers,
    laid,
    level,
    look,
    pot,
    verdicts,
    water,
)

STOVE_G, POT_G = 700.0, 900.0


def test_a_stove_that_tips_with_its_pot_is_told_within_ten_seconds() -> None:
    curve = level((100, STOVE_G), (200, STOVE_G + POT_G), (60, 40.0))
    said = verdicts(LoadGone(), look({Role.MASS: curve}, plan=PLAN, stays=pot(100)))
    assert len(dangers(said)) == 1
    assert 300 < dangers(said)[0] <= 310


@pytest.mark.parametrize("plan", [PLAN, BARE, empty_plan()], ids=["planned", "no pot planned", "no plan"])
def test_a_pot_that_is_set_on_and_lifted_is_not(plan: Plan) -> None:
    curve = level((100, STOVE_G), (200, STOVE_G + POT_G), (100, STOVE_G))
    assert dangers(verdicts(LoadGone(), look({Role.MASS: curve}, plan=plan, stays=pot(100, 300)))) == []


@pytest.mark.parametrize("plan", [PLAN, empty_plan()], ids=["planned", "no plan"])
def test_a_pot_that_stood_there_from_the_start_and_is_lifted_is_not(plan: Plan) -> None:
    curve = level((300, STOVE_G + POT_G), (100, STOVE_G))
    assert dangers(verdicts(LoadGone(), look({Role.MASS: curve}, plan=plan, stays=pot(None, 300)))) == []


def test_a_bare_stove_that_falls_is_told() -> None:
    curve = level((300, STOVE_G), (60, 10.0))
    said = verdicts(LoadGone(), look({Role.MASS: curve}, plan=BARE))
    assert len(dangers(said)) == 1
    assert "nothing stood on the stove" in said[0][1].text  # type: ignore[union-attr]


def test_without_a_plan_only_a_fall_to_the_empty_cell_tells() -> None:
    for rest_g, told in ((120.0, 0), (1.0, 1), (-400.0, 1)):
        curve = level((300, STOVE_G), (60, rest_g), loss_g_s=0.0)
        assert len(dangers(verdicts(LoadGone(), look({Role.MASS: curve})))) == told, rest_g


def test_a_part_that_is_lifted_to_feed_the_fire_is_not_told() -> None:
    curve = level((300, STOVE_G), (20, STOVE_G - 250.0), (60, STOVE_G + 80.0))
    assert dangers(verdicts(LoadGone(), look({Role.MASS: curve}, plan=BARE))) == []


def test_what_was_laid_on_beside_the_pot_may_be_lifted_with_it() -> None:
    curve = level((100, STOVE_G), (100, STOVE_G + POT_G), (100, STOVE_G + POT_G + 300.0), (60, STOVE_G))
    whole = look({Role.MASS: curve}, plan=PLAN, stays=pot(100, 300), events=(laid(200, 300.0),))
    assert dangers(verdicts(LoadGone(), whole)) == []


def test_what_has_boiled_away_can_not_be_lifted_any_more() -> None:
    # A light stove, whose fall would be taken for the pot's as it was when it was full.
    steaming = [250.0 + POT_G - 2.0 * second for second in range(200)]
    curve = [250.0] * 100 + steaming + [5.0] * 60
    full = look({Role.MASS: curve}, plan=PLAN, stays=pot(100))
    known = look({Role.MASS: curve}, plan=PLAN, stays=pot(100), left=water(400.0))
    assert len(dangers(verdicts(LoadGone(), known))) == 1
    assert len(dangers(verdicts(LoadGone(), full))) == 0


def test_a_load_that_comes_back_clears_it_and_can_fall_again() -> None:
    curve = level((200, STOVE_G), (60, 5.0), (100, STOVE_G), (60, 5.0))
    said = verdicts(LoadGone(), look({Role.MASS: curve}, plan=BARE))
    assert len(dangers(said)) == 2
    assert all_clear(said, 200) == pytest.approx(265, abs=3)


def test_a_hand_that_lifts_for_a_moment_and_a_gap_are_nothing() -> None:
    nothing = float("nan")
    curve = level((200, STOVE_G), (5, 5.0), (100, STOVE_G), (20, nothing), (100, STOVE_G))
    assert dangers(verdicts(LoadGone(), look({Role.MASS: curve}, plan=BARE))) == []


def test_before_the_fire_people_handle_the_bench_as_they_like() -> None:
    curve = level((200, STOVE_G), (60, 5.0))
    assert dangers(verdicts(LoadGone(), look({Role.MASS: curve}, plan=BARE, burns=False))) == []


def test_a_pot_on_a_cell_of_its_own_is_not_on_the_stoves() -> None:
    channels = {**CHANNELS, Role.POT_MASS: default_channel(Role.POT_MASS)}
    curve = level((200, STOVE_G), (60, 5.0))
    whole = look({Role.MASS: curve}, plan=PLAN, channels=channels, stays=pot(100))
    (second,) = dangers(verdicts(LoadGone(), whole))
    assert second == pytest.approx(208, abs=2)


def test_the_words_name_both_levels() -> None:
    curve = level((300, STOVE_G), (60, 10.0), loss_g_s=0.0, noise_g=0.0)
    (_, verdict), *_ = verdicts(LoadGone(), look({Role.MASS: curve}, plan=BARE))
    assert isinstance(verdict, Danger)
    assert verdict.text.startswith("The load fell from 700 g to 10 g and stays there")
