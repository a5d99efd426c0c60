from emberline.bench.channels import Role
from emberline.trials.alarms.alarm import Danger, Safe
from emberline.trials.alarms.flame_long import FlameLong
from unit.trials.alarms.looked_at import look


def test_a_flame_is_told_once_it_burns_longer_than_allowed_and_only_its_end_clears_that() -> None:
    watch, mass = FlameLong(600.0), [700.0] * 800
    assert watch.look(look({Role.MASS: mass}, flame_s=200.0)) is None
    late = watch.look(look({Role.MASS: mass}, flame_s=199.0))
    assert isinstance(late, Danger)
    assert "10 min" in late.text
    assert isinstance(watch.look(look({Role.MASS: mass})), Safe)
