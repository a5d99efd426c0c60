"""Where a session stands, and what moves it: the table of all transitions."""

from collections.abc import Mapping
from enum import StrEnum


class LinkState(StrEnum):
    """Where a session stands."""

    DOWN = "down"
    ASKING = "asking"
    STREAMING = "streaming"
    REFUSED = "refused"


class Cue(StrEnum):
    """What moves a session from state to state."""

    LINK_UP = "link-up"
    LINK_DOWN = "link-down"
    HELLO_ACCEPTED = "hello-accepted"
    HELLO_REFUSED = "hello-refused"
    OTHER_BOOT = "other-boot"


TRANSITIONS: Mapping[tuple[LinkState, Cue], LinkState] = {
    (LinkState.DOWN, Cue.LINK_UP): LinkState.ASKING,
    (LinkState.ASKING, Cue.LINK_UP): LinkState.ASKING,
    (LinkState.ASKING, Cue.LINK_DOWN): LinkState.DOWN,
    (LinkState.ASKING, Cue.HELLO_ACCEPTED): LinkState.STREAMING,
    (LinkState.ASKING, Cue.HELLO_REFUSED): LinkState.REFUSED,
    (LinkState.STREAMING, Cue.LINK_UP): LinkState.ASKING,
    (LinkState.STREAMING, Cue.LINK_DOWN): LinkState.DOWN,
    (LinkState.STREAMING, Cue.HELLO_ACCEPTED): LinkState.STREAMING,
    (LinkState.STREAMING, Cue.HELLO_REFUSED): LinkState.REFUSED,
    (LinkState.STREAMING, Cue.OTHER_BOOT): LinkState.ASKING,
    (LinkState.REFUSED, Cue.LINK_UP): LinkState.ASKING,
    (LinkState.REFUSED, Cue.LINK_DOWN): LinkState.DOWN,
    (LinkState.REFUSED, Cue.HELLO_ACCEPTED): LinkState.STREAMING,
    (LinkState.REFUSED, Cue.HELLO_REFUSED): LinkState.REFUSED,
}
"""Every change of state there is; a cue without an entry changes nothing and is ignored."""


def after(state: LinkState, cue: Cue) -> LinkState:
    """Return the state that follows `state` upon `cue`."""
    return TRANSITIONS.get((state, cue), state)
