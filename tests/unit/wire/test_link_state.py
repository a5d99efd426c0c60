"""The table of transitions."""

import pytest

from emberline_wire import LinkState
from emberline_wire.link_state import TRANSITIONS, Cue, after


def test_it_covers_every_state_of_an_open_link() -> None:
    open_states = {LinkState.ASKING, LinkState.STREAMING, LinkState.REFUSED}
    for cue in (Cue.LINK_DOWN, Cue.LINK_UP, Cue.HELLO_ACCEPTED, Cue.HELLO_REFUSED):
        assert {state for state, known in TRANSITIONS if known is cue} >= open_states


@pytest.mark.parametrize("cue", [cue for cue in Cue if cue is not Cue.LINK_UP])
def test_nothing_happens_on_a_link_that_is_down(cue: Cue) -> None:
    assert after(LinkState.DOWN, cue) is LinkState.DOWN


def test_only_a_hello_makes_a_link_stream() -> None:
    assert {cue for (_, cue), state in TRANSITIONS.items() if state is LinkState.STREAMING} == {Cue.HELLO_ACCEPTED}
