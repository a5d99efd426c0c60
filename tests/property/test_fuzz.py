"""The short form of `deploy/bench fuzz`: every parser that takes bytes from outside, and the fuzzer itself."""

import random
from collections import Counter

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from benchmarks.fuzz.__main__ import feed
from benchmarks.fuzz.inputs import Recipe, as_it_is, damaged, either, reworded
from benchmarks.fuzz.targets import Target, targets

EXAMPLES = 150


@pytest.mark.parametrize("target", targets(), ids=lambda target: target.name)
def test_only_its_own_errors_come_out(target: Target) -> None:
    @settings(
        max_examples=EXAMPLES, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck)
    )
    @given(st.binary(min_size=8, max_size=256))
    @example(b"")
    def run(data: bytes) -> None:
        target.run(data)

    run()
    assert target.executions >= EXAMPLES


def test_shares_add_up_to_all_executions() -> None:
    assert sum(target.share for target in targets()) == pytest.approx(1.0, abs=0.02)


def test_a_parser_that_raises_what_it_must_not_is_caught_with_its_input() -> None:
    def fragile(data: bytes) -> None:
        if data[:1] > b"\x80":
            raise KeyError("made up")

    target = Target("a fragile one", fragile, as_it_is, 1.0)
    found, failures = Counter[str](), dict[str, str]()
    feed(target, random.Random(1), 200, found, failures)
    assert target.executions == 200
    assert 50 < found.total() < 150
    ((key, told),) = failures.items()
    assert "a fragile one: KeyError at fragile" in key
    assert told.startswith("input: ")


def test_the_same_bytes_make_the_same_input_and_others_make_others() -> None:
    make = either(damaged((b"abc,def", b"12;34")), reworded((b"one two", b"three 4.5")), as_it_is)
    dice = random.Random(7)
    recipes = [dice.randbytes(64) for _ in range(300)]
    made = [make(recipe) for recipe in recipes]
    assert [make(recipe) for recipe in recipes] == made
    assert len(set(made)) > 200


def test_a_recipe_that_is_used_up_gives_the_first_choice() -> None:
    recipe = Recipe(b"\x05\x00\x02")
    assert (recipe.below(10), recipe.below(10), recipe.below(10), recipe.some(4)) == (5, 2, 0, b"")
