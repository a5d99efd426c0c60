"""The JSON document of a bench as it is now, for whoever watches."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from emberline.bench.channels import Role
from emberline.curves.events import Event, Phase, Retraction
from emberline.trials.alarms import TITLES, AlarmKind
from emberline.trials.alarms.co_watch import CoStanding
from emberline.trials.estimates import Estimates, Plain
from emberline.trials.forecast import Forecast, NoForecast

LIVE_SCHEMA = "emberline.live/1"
EVENT_SCHEMA = "emberline.event/1"

HOT_CHAR = (
    "The flame is out. Hot char glows on, and carbon monoxide rises: keep the stove outdoors and out of reach; "
    "it stays hot for hours."
)
"""What is said at flameout; a burn is not over then."""

_SCALE = (Role.MASS, Role.POT_MASS)
_FIRE = (Role.FLAME, *_SCALE)
"""What tells the phase, where a bench has any of it."""


class Recording(StrEnum):
    """Whether readings reach the disk; decided by the last commit, not by the last frame."""

    RECORDING = "recording"
    WITH_GAPS = "recording with gaps"
    NOT_RECORDING = "not recording"


@dataclass(frozen=True, slots=True)
class LiveValue:
    """The newest reading of a channel.

    Attributes:
        value: In the unit of its role; None where the converter reports a fault.
        unit: That unit: `c`, `g`, `pa` or `ppm`.
        t_ns: Time of the reading, UTC nanoseconds.
        until_ns: Until when it may be shown as current, UTC nanoseconds.
        u: Standard uncertainty of the value.
    """

    value: float | None
    unit: str
    t_ns: int
    until_ns: int
    u: float | None = None

    def age_s(self, now_ns: int) -> float:
        """Return its age."""
        return max(0.0, (now_ns - self.t_ns) * 1e-9)

    def stale(self, now_ns: int) -> bool:
        """Return whether it must not be shown as current."""
        return now_ns > self.until_ns


@dataclass(frozen=True, slots=True)
class AlarmShown:
    """An alarm as it is shown.

    Attributes:
        kind: What it is about.
        text: Its evidence in words and numbers.
        raised_ns: When it was raised, UTC nanoseconds.
        cleared_ns: When its cause had gone; None while that lasts.
        acknowledged_ns: When somebody said that they had seen it; None before.
        acknowledged_by: Who; may be empty.
        told: How often it was told so far; it grows until somebody has seen it.
    """

    kind: AlarmKind
    text: str
    raised_ns: int
    cleared_ns: int | None = None
    acknowledged_ns: int | None = None
    acknowledged_by: str = ""
    told: int = 1


@dataclass(frozen=True, slots=True)
class LiveState:
    """Everything that a live document tells.

    Attributes:
        bench: Id of the bench.
        now_ns: The daemon's time, UTC nanoseconds.
        committed_ns: When readings reached the disk last, by the same clock; None before.
        recording: Whether readings reach the disk.
        link: State of the link in words.
        trouble: What is wrong, in words; empty if nothing is.
        values: Newest readings by role.
        lost: Samples flagged lost in this trial, or since the start of the daemon.
        trial: Id of the open trial, or None.
        start_ns: Its start, UTC nanoseconds.
        label: Its label.
        t_s: Time of the newest reading within the trial, seconds.
        followed_s: Seconds of the trial in which events have been looked for.
        phase: Its phase.
        estimates: Burning rate, firepower and forecasts.
        summary: Path of the newest summary page, or None.
        alarms: The alarms that stand, or that nobody has seen.
        co: How the air stands against the limits of carbon monoxide; empty without a sensor.
    """

    bench: str
    now_ns: int
    recording: Recording
    link: str
    trouble: str = ""
    committed_ns: int | None = None
    values: Mapping[Role, LiveValue] = field(default_factory=dict)
    lost: int = 0
    trial: str | None = None
    start_ns: int | None = None
    label: str | None = None
    t_s: float | None = None
    followed_s: float | None = None
    phase: Phase = Phase.WAITING
    estimates: Estimates = field(default_factory=Estimates)
    summary: str | None = None
    alarms: Sequence[AlarmShown] = ()
    co: Sequence[CoStanding] = ()


def live_document(state: LiveState) -> dict[str, Any]:
    """Return the live document as plain JSON values: readings with ages, forecasts with intervals or reasons."""
    estimates, known_until_s = state.estimates, _known_until_s(state)
    return {
        "schema": LIVE_SCHEMA,
        "bench": state.bench,
        "time_ns": state.now_ns,
        "committed_ns": state.committed_ns,
        "recording": state.recording.value,
        "link": state.link,
        "trouble": state.trouble,
        "values": {role.value: _value(value, state.now_ns) for role, value in state.values.items()},
        "samples_lost": state.lost,
        "trial": state.trial,
        "start_ns": state.start_ns,
        "label": state.label,
        "t_s": None if state.t_s is None else round(state.t_s, 2),
        "followed_s": state.followed_s,
        "phase": state.phase.value,
        "known_until_s": known_until_s,
        "burning_rate_g_min": _uncertain(estimates.rate_g_min),
        "burning_rate_held": estimates.held,
        "firepower_w": _uncertain(estimates.firepower_w),
        "burnt_g": _uncertain(estimates.burnt_g),
        "boil_forecast": _forecast(
            estimates.boil, "the water's readings" if _ended_s(state, Role.WATER) is not None else ""
        ),
        "flameout_forecast": _forecast(
            estimates.flameout, "the scale's readings" if _ended_s(state, *_SCALE) is not None else ""
        ),
        "progress": None if estimates.progress is None or known_until_s is not None else round(estimates.progress, 3),
        "water_left_g": _uncertain(estimates.water_left_g),
        "summary": state.summary,
        "alarms": [alarm_document(one) for one in state.alarms],
        "co": [_co(one) for one in state.co],
    }


def event_document(bench: str, trial: str, said: Event | Retraction) -> dict[str, Any]:
    """Return the document of one announcement, of one that is revised, or of one that is taken back.

    A revision names the announcement that it replaces by its kind and `announced_t_s`, and has its own moment in
    `revised_t_s`.
    """
    head = {"schema": EVENT_SCHEMA, "bench": bench, "trial": trial, "kind": said.kind.value}
    if isinstance(said, Retraction):
        times = {"announced_t_s": said.announced_t_s, "retracted_t_s": said.retracted_t_s}
        return {**head, "retracted": True, **times, "why": said.why}
    return {
        **head,
        "retracted": False,
        "t_s": round(said.t_s, 3),
        "u_s": round(said.u_s, 3),
        "announced_t_s": said.announced_t_s,
        "revised_t_s": said.revised_t_s,
        "size_g": None if said.size_g is None else round(float(said.size_g.nominal_value), 2),
        "confirmed": said.confirmed,
        "by_person": said.by_person,
        "evidence": said.evidence,
    }


def alarm_document(alarm: AlarmShown) -> dict[str, Any]:
    """Return the document of an alarm."""
    return {
        "kind": alarm.kind.value,
        "title": TITLES[alarm.kind],
        "text": alarm.text,
        "raised_ns": alarm.raised_ns,
        "cleared_ns": alarm.cleared_ns,
        "acknowledged_ns": alarm.acknowledged_ns,
        "acknowledged_by": alarm.acknowledged_by,
        "told": alarm.told,
    }


def _co(standing: CoStanding) -> dict[str, Any]:
    limit = standing.limit
    return {
        "limit": limit.name,
        "title": limit.title,
        "source": limit.source,
        "limit_ppm": round(limit.ppm, 2),
        "period_s": limit.period_s,
        "state": standing.state.value,
        "ppm": None if standing.ppm is None else round(standing.ppm, 1),
        "measured": round(standing.measured, 3),
    }


def _value(value: LiveValue, now_ns: int) -> dict[str, Any]:
    return {
        "value": None if value.value is None else round(value.value, 3),
        "u": None if value.u is None else round(value.u, 3),
        "unit": value.unit,
        "age_s": round(value.age_s(now_ns), 2),
        "stale": value.stale(now_ns),
    }


def _uncertain(value: Plain | None) -> dict[str, float] | None:
    return None if value is None else {"value": round(value.nominal_value, 3), "u": round(value.std_dev, 3)}


def _known_until_s(state: LiveState) -> float | None:
    """Return until when in the trial its phase is known; None where it is known now."""
    fire = [role for role in _FIRE if role in state.values]
    return _ended_s(state, *(fire or [Role.WATER]))


def _ended_s(state: LiveState, *roles: Role) -> float | None:
    """Return when in the trial the readings of some roles ended; None while any still comes, or none ever came."""
    values = [state.values[role] for role in roles if role in state.values]
    if state.start_ns is None or not values or not all(value.stale(state.now_ns) for value in values):
        return None
    return round(max(0.0, (max(value.t_ns for value in values) - state.start_ns) * 1e-9), 2)


def _forecast(forecast: Forecast | NoForecast, ended: str) -> dict[str, Any]:
    """Return a forecast, or why there is none; `ended` names the readings that it lacks now, or is empty."""
    if isinstance(forecast, NoForecast):
        return {"absent": forecast.why}
    if ended:
        return {"absent": f"not known: {ended} have stopped"}
    low, high = forecast.interval_95
    ends = [round(low, 1), round(high, 1)]
    return {"t_s": round(forecast.t_s, 1), "u_s": round(forecast.u_s, 1), "interval_95": ends}
