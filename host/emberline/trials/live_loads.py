"""Changes of the load as a live run tells them: when one is sure enough to be announced, and when it was wrong.

A hand still on the pot, a gust or a tool laid down can look like another load for some seconds. What matters at once is
announced once it is found twice. An unexplained step can wait until its measure stands: a gust may pass for one until
the calm after it was seen, and fuel for one until something is known of a fire. So can an addition that the plan does
not weigh: fuel stays, a tool, a lid or a hand does not, and until it has stayed nothing else tells them apart. An
announcement that is not found again is doubted for a while before it is taken back.
"""

from collections.abc import Sequence

from emberline.curves.events import Event, EventKind
from emberline.trials.live_cell import REMEASURE_S
from emberline.trials.said import SAME_LOAD_S, Sayings, same_event

LOADS = (EventKind.POT_ON, EventKind.POT_OFF, EventKind.REFUEL, EventKind.STEP)
STEADY_S = 2
"""Seconds for which a load must be found in one form before it is announced."""
STEP_STEADY_S = REMEASURE_S
"""The same for a step that nothing explains."""
STAYS_S = 180
"""The same for a refuel of which the plan does not know: what is laid on and taken off again was no fuel."""
LEAVES_SHARE = 0.5
"""Share of it whose loss within seconds shows that it is being taken off: no fire burns as fast."""
PLANNED_G, PLANNED_SHARE = 6.0, 0.06
"""Distance within which an addition is a planned refuel: in grams, or as a share of it."""
INFERRED_S = 30
"""The same for a pot of which other loads tell that it had stood there."""
SAME_SIZE_G, SAME_SIZE_SHARE = 2.0, 0.05
"""What counts as one form: sizes within so many grams, or within such a share."""
DOUBT_S = 15
"""Seconds of doubt before a load is taken back."""


class LoadWatch:
    """Settles what is announced of the load with what is found of it now.

    Args:
        planned_g: Masses of the refuels that the plan weighs.
    """

    def __init__(self, planned_g: Sequence[float] = ()) -> None:
        """Begin with nothing announced."""
        self._planned_g = tuple(planned_g)
        self._pending: list[tuple[Event, int]] = []
        self._doubts: list[tuple[Event, int]] = []

    @property
    def unsettled(self) -> bool:
        """Whether something waits to be announced or taken back."""
        return bool(self._pending or self._doubts)

    def settle(self, found: Sequence[Event], sayings: Sayings, now: int, change_g: float = 0.0) -> None:
        """Announce, revise and take back.

        Args:
            found: The loads' events as they are read now.
            sayings: What was said.
            now: Seconds so far.
            change_g: Change of the load in the newest seconds, which no event tells of yet.
        """
        announced = sayings.tracked.announced
        matched: set[int] = set()
        fresh = []
        for event in found:
            index = same_event(event, announced, matched)
            if index is None:
                fresh.append(event)
            else:
                matched.add(index)
                sayings.revise(index, event, now)
        self._take_back(matched, fresh, sayings, now)
        pending = []
        for event in fresh:
            since = next((at for one, at in self._pending if _one_form(one, event)), now)
            contested = any(abs(doubted.t_s - event.t_s) <= SAME_LOAD_S for doubted, _ in self._doubts)
            if now - since >= self._wait_s(event) and not contested and not _leaves(event, change_g):
                sayings.announce(event, now)
            else:
                pending.append((event, since))
        self._pending = pending

    def _wait_s(self, event: Event) -> int:
        if event.size_g is None:
            return INFERRED_S
        if event.kind is EventKind.STEP:
            return STEP_STEADY_S
        size_g = float(event.size_g.nominal_value)
        planned = any(abs(size_g - mass_g) <= max(PLANNED_G, PLANNED_SHARE * mass_g) for mass_g in self._planned_g)
        return STEADY_S if planned or event.kind is not EventKind.REFUEL else STAYS_S

    def _take_back(self, matched: set[int], fresh: Sequence[Event], sayings: Sayings, now: int) -> None:
        announced = sayings.tracked.announced
        doubts = []
        for index in reversed(range(len(announced))):
            event = announced[index]
            if event.kind not in LOADS or index in matched:
                continue
            since = next((at for one, at in self._doubts if (one.kind, one.t_s) == (event.kind, event.t_s)), now)
            if now - since >= DOUBT_S:
                sayings.retract(index, _why(event, fresh), now)
            else:
                doubts.append((event, since))
        self._doubts = doubts


def _leaves(event: Event, change_g: float) -> bool:
    """Tell whether an addition that had stayed is just being taken off."""
    added_g = 0.0 if event.size_g is None else float(event.size_g.nominal_value)
    return event.kind is EventKind.REFUEL and change_g < -LEAVES_SHARE * added_g


def _one_form(one: Event, other: Event) -> bool:
    if one.kind is not other.kind or abs(one.t_s - other.t_s) > SAME_LOAD_S:
        return False
    if one.size_g is None or other.size_g is None:
        return one.size_g is other.size_g
    a, b = float(one.size_g.nominal_value), float(other.size_g.nominal_value)
    return abs(a - b) <= max(SAME_SIZE_G, SAME_SIZE_SHARE * abs(a))


def _why(event: Event, fresh: Sequence[Event]) -> str:
    """Say in plain words why a load is taken back."""
    if event.size_g is None:
        return "the loads that followed no longer say that the pot had stood there"
    instead = next((one for one in fresh if abs(one.t_s - event.t_s) <= SAME_LOAD_S and one.size_g is not None), None)
    if instead is None or instead.size_g is None:
        return "the load went back to what it had been"
    return f"the same handling is read otherwise now: {instead.evidence}"
