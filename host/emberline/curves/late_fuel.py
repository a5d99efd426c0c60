"""Fuel that was laid on too late: what does not burn once it is laid on has fed no fire.

Where the flame had ended long before, a gust or a tool was at the load cell, or somebody filled the cold stove anew.
"""

from dataclasses import replace

from emberline.curves.events import Event, EventKind
from emberline.curves.loads import Loads

LEAST_LATE_S, LATE_U = 60.0, 2.0
"""Time after the end of flame from which on an addition is too late: seconds, or standard uncertainties of that end."""


def without_late_fuel(loads: Loads, flameout: Event) -> Loads:
    """Return the loads without refuels of a fire that was out; a person's word stands.

    Args:
        loads: The changes of load.
        flameout: The end of flame: the fire burnt no more afterwards.
    """
    late_s = flameout.t_s + max(LEAST_LATE_S, LATE_U * flameout.u_s)
    events: list[Event] = []
    late: set[int] = set()
    for event, causes in zip(loads.events, loads.causes, strict=True):
        if event.kind is EventKind.REFUEL and event.t_s > late_s and not event.by_person:
            late.update(causes)
            event = replace(
                event,
                kind=EventKind.STEP,
                evidence=f"{event.evidence.removesuffix(' while burning')} after the fire was out",
            )
        events.append(event)
    if not late:
        return loads
    steps = [loads.steps[index] for index in late]
    refuels = tuple(step for step in loads.refuels if not any(step is one for one in steps))
    return replace(loads, events=tuple(events), refuels=refuels)
