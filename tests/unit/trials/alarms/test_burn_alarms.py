import pickle

from emberline.bench.alarm_rules import AlarmRules
from emberline.bench.channels import Role
from emberline.trials.alarms import TITLES, AlarmKind
from emberline.trials.alarms.burn_alarms import BurnAlarms
from unit.trials.alarms.looked_at import BARE, level, look, looks

TIPPED = look({Role.MASS: level((200, 700.0), (60, 5.0), (100, 700.0), (60, 5.0))}, plan=BARE)


def test_an_alarm_is_raised_cleared_and_raised_again() -> None:
    alarms = BurnAlarms(AlarmRules())
    seen = []
    for one in looks(TIPPED):
        alarms.look(one)
        seen.append(alarms.newest)
    assert seen[199] == ()
    (first,) = seen[230]
    assert (first.kind, first.cleared_s) == (AlarmKind.LOAD_GONE, None)
    assert first.raised_s <= 210.0
    (cleared,) = seen[300]
    assert cleared.raised_s == first.raised_s
    assert cleared.cleared_s is not None
    (again,) = seen[-1]
    assert again.raised_s > 360.0
    assert again.cleared_s is None


def test_alarms_go_on_from_where_they_were_pickled() -> None:
    whole, halves = BurnAlarms(AlarmRules()), BurnAlarms(AlarmRules())
    for one in looks(TIPPED):
        whole.look(one)
        if one.second == 230:
            halves = pickle.loads(pickle.dumps(halves))  # noqa: S301 our own
        halves.look(one)
    assert halves.newest == whole.newest


def test_every_kind_has_a_title() -> None:
    assert set(TITLES) == set(AlarmKind)
