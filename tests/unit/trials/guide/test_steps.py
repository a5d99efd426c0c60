from emberline.bench.plan_quantities import QUANTITIES
from emberline.trials.guide.steps import BY_ID, HOT, STEPS, Part, steps_for

ALL = frozenset({"mass", "water"})


def ids(has: frozenset[str] = ALL, *, kindling: bool = False, **base: object) -> list[str]:
    return [step.id for step in steps_for(has, base, kindling=kindling)]


def test_every_key_is_one_of_the_plans() -> None:
    for step in STEPS:
        for key in (step.key, *step.typed):
            assert not key or key.partition(".")[2] in QUANTITIES


def test_a_lid_is_asked_for_where_the_pot_has_one() -> None:
    assert "lid" not in ids(pot={})
    assert "lid" in ids(pot={"lid": True})


def test_kindling_is_asked_for_where_it_is_weighed_apart() -> None:
    assert "kindling" not in ids()
    assert "kindling" in ids(kindling=True)


def test_parts_follow_each_other() -> None:
    parts = [step.part for step in STEPS]
    assert sorted(parts, key=list(Part).index) == parts


def test_whatever_handles_char_or_the_hot_stove_says_so() -> None:
    for step in ("snuff", "char", "unburnt", "empty_after"):
        assert BY_ID[step].caution == HOT
    assert "monoxide" in HOT
    assert "never pour" in BY_ID["starter"].caution
