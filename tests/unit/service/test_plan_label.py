import pytest

from emberline.bench.plan import parse_plan
from emberline.service.errors import RequestError
from emberline.service.plan_label import labelled_plan

PLAN = 'label = "chips, run 3"\n[fuel]\nmass_g = 310.0\n'


def test_a_label_joins_a_plan_that_has_none() -> None:
    assert labelled_plan("[fuel]\nmass_g = 1.0\n", 'the "big" one').startswith('label = "the \\"big\\" one"\n')
    assert parse_plan(labelled_plan("", "chips,\tC:\\ 3")).label == "chips,\tC:\\ 3"
    assert labelled_plan(PLAN, None) == PLAN
    with pytest.raises(RequestError, match="leave --label out"):
        labelled_plan(PLAN, "other")


def test_a_plan_with_problems_is_refused() -> None:
    with pytest.raises(RequestError, match=r"the plan has problems: .*moisture_wet"):
        labelled_plan("[fuel]\nmoisture_wet = 11.0\n", "chips")
