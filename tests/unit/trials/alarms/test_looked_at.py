"""The fixture that makes up looks: what it says is what a test means."""

from emberline.bench.channels import Role
from unit.trials.alarms.looked_at import laid, level, look, looks, pot


def test_a_step_is_known_eight_seconds_after_it() -> None:
    whole = look({Role.MASS: level((200, 900.0))}, stays=pot(100, 150), events=(laid(120, 30.0),))
    seen = {one.second: one for one in looks(whole)}
    assert [len(seen[s].stays) for s in (107, 108)] == [0, 1]
    assert [len(seen[s].loads.events) for s in (127, 128)] == [0, 1]
    assert [seen[s].pot_is_off for s in (157, 158)] == [False, True]
    assert [seen[s].grid.n for s in (1, 200)] == [1, 200]
