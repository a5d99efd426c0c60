import pytest

from emberline.heat.remedies import REMEDIES, WEIGH_CHAR, Remedy
from emberline.heat.uncharred import uncharred
from emberline.reports.wording import input_title


@pytest.mark.parametrize("remedy", [*REMEDIES.values(), WEIGH_CHAR])
def test_an_order_fits_into_a_sentence(remedy: Remedy) -> None:
    assert remedy.order[0].islower()
    assert not remedy.order.endswith(".")


def test_a_remedy_reaches_its_uncertainty_and_spoils_nothing() -> None:
    weighed = Remedy("weigh it", u=0.06)
    assert weighed.keeps(0.6) == pytest.approx(0.1)
    assert weighed.keeps(0.05) == 1.0
    assert weighed.keeps(0.0) == 1.0


def test_a_remedy_without_a_unit_leaves_a_share() -> None:
    assert Remedy("shelter it", rest=0.4).keeps(1.0) == 0.4


@pytest.mark.parametrize("tag", REMEDIES)
def test_what_can_be_bettered_has_a_name_on_the_page(tag: str) -> None:
    assert "_" not in input_title(tag)


def test_a_bomb_reaches_what_laboratories_reproduce() -> None:
    # ISO 18125 allows 300 J/g between laboratories (from memory): 2.8 standard uncertainties apart.
    assert REMEDIES["fuel.lhv_dry_j_g"].u == pytest.approx(300.0 / (1.96 * 2.0**0.5), rel=0.1)


def test_sorting_helps_where_the_flame_went_out_early_and_not_against_wood_within_pieces() -> None:
    sort = REMEDIES["char_unfinished"]
    usual, out_early = (uncharred(left, 0.01, sorted_out=False) for left in (0.18, 0.50))
    assert sort.keeps(usual.u_wood) > 0.9
    assert sort.keeps(out_early.u_wood) < 0.5
