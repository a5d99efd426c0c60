from dataclasses import fields, replace

import pytest

from emberline.curves.events import Phase
from emberline.service.watch import FoundAlarms, Turn, changed, changes
from emberline.trials.alarms import Alarm, AlarmKind
from emberline.trials.estimates import Estimates, Plain

QUIET = Turn((), (), (), False, 10.0, Phase.WAITING, Estimates())
ALARM = Alarm(AlarmKind.CELL_HOT, 11.0, "hot")


@pytest.mark.parametrize(
    "turn",
    [
        QUIET,
        replace(QUIET, t_s=11.0),
        replace(QUIET, phase=Phase.FLAMING, estimates=Estimates(burnt_g=Plain(3.0, 1.0)), begin_ns=5),
        replace(QUIET, alarms=FoundAlarms(0, (ALARM,), first=True), end_ns=7, more=True),
    ],
)
def test_a_turn_is_made_again_from_what_is_other_in_it(turn: Turn) -> None:
    for before in (None, QUIET, replace(turn, t_s=9.0, end_ns=3)):
        assert changed(before, changes(turn, before)) == turn


def test_a_second_in_which_nothing_happens_is_told_by_its_time_alone() -> None:
    assert changes(replace(QUIET, t_s=11.0), QUIET) == {"t_s": 11.0}
    assert changes(replace(QUIET, said=(), announced=(), estimates=Estimates()), QUIET) == {}
    assert set(changes(QUIET, None)) == {one.name for one in fields(Turn)}
