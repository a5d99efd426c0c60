"""What a reader is warned of, and what not."""

from emberline.trials.comparison.confounding import Circumstances, warnings


def at(*starts_h: float, factors: dict[str, str] | None = None, air_c: float | None = None) -> list[Circumstances]:
    """Burns at some hours; the air's temperature wavers by half a degree."""
    return [
        Circumstances(
            int(hour * 3.6e12),
            factors or {},
            {} if air_c is None else {"air temperature": air_c + 0.5 * (index % 2)},
        )
        for index, hour in enumerate(starts_h)
    ]


def test_all_of_one_before_all_of_the_other_is_told_whichever_came_first() -> None:
    for groups in ({"A": at(1, 2), "B": at(3, 4)}, {"A": at(3, 4), "B": at(1, 2)}):
        assert len(warnings(groups)) == 1
        assert "take turns" in warnings(groups)[0].lower()


def test_burns_that_took_turns_are_fine() -> None:
    assert warnings({"A": at(1, 3), "B": at(2, 4)}) == []


def test_single_burns_have_no_order_to_speak_of() -> None:
    assert warnings({"A": at(1), "B": at(3)}) == []


def test_times_that_are_not_known_say_nothing() -> None:
    unknown = [Circumstances(None)] * 3
    assert warnings({"A": unknown, "B": at(1, 2)}) == []


def test_another_factor_that_changed_with_it_is_told() -> None:
    groups = {
        "12": at(1, 3, factors={"holes": "12", "pot": "small"}),
        "16": at(2, 4, factors={"holes": "16", "pot": "big"}),
    }
    found = warnings(groups, ["holes"])
    assert len(found) == 1
    assert found[0].startswith("pot changed together with the rest: small in 12, big in 16.")


def test_a_factor_that_varied_within_both_is_fine() -> None:
    mixed = [*at(1, factors={"pot": "small"}), *at(3, factors={"pot": "big"})]
    assert warnings({"A": mixed, "B": at(2, 4, factors={"pot": "big"})}) == []


def test_other_weather_is_told_and_the_same_is_not() -> None:
    cold, warm = at(1, 3, 5, air_c=8.0), at(2, 4, 6, air_c=19.0)
    assert warnings({"A": cold, "B": warm}) == [
        "The air temperature differed too: 8.2 °C on average in A, 19.2 °C in B."
    ]
    assert warnings({"A": cold, "B": at(2, 4, 6, air_c=9.0)}) == []


def test_weather_given_by_hand_needs_no_scatter() -> None:
    fixed = {
        "A": [Circumstances(None, {}, {"air temperature": 8.0})] * 2,
        "B": [Circumstances(None, {}, {"air temperature": 19.0})] * 2,
    }
    assert len(warnings(fixed)) == 1
