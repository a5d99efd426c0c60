"""The final analysis of a trial: from its calibrated curves to everything that its summary says.

It looks both ways in time and replaces what a live run estimated. The same curves, plan and corrections give the
same analysis, whatever order and portions the samples came in.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from uncertainties import UFloat

from emberline.bench.air import boiling_point_basis
from emberline.bench.channels import Channel, Role, default_channel
from emberline.bench.plan import Plan
from emberline.bench.samples import Curve
from emberline.curves.events import Event, Retraction
from emberline.curves.grid import Grid, grid_of
from emberline.curves.warmth import without_warmth
from emberline.curves.words import Word
from emberline.heat.account import Account
from emberline.heat.ledger import build_account
from emberline.heat.result import QualityNote
from emberline.heat.results import Results, compute_results
from emberline.trials.alarms.alarm import PastAlarm
from emberline.trials.calibrating.used import UsedCalibration
from emberline.trials.conditions import NOTHING_KNOWN, Conditions, conditions_of
from emberline.trials.corrections import Log, words
from emberline.trials.reading import Reading, read_record
from emberline.trials.record_quality import record_notes
from emberline.trials.tracker import Tracked, same_event, track


@dataclass(frozen=True, slots=True, eq=False)
class Analysis:
    """Everything that is known about a trial.

    Attributes:
        trial: The trial's id.
        bench: The bench's id.
        plan: What a person said.
        grid: The record on the 1 Hz grid.
        events: All events in order of time, with the moment at which a live run announced each.
        retracted: What a live run announced and took back.
        account: Fuel and water told apart.
        results: The results.
        boiling_point: Local boiling temperature, degrees.
        quality: What a reader should know about the record itself.
        log: What a person changed of the trial.
        conditions: Under what it was burnt.
        calibrations: Which of a person's calibrations its record was read with.
        alarms: Those that were raised while it ran.
    """

    trial: str
    bench: str
    plan: Plan
    grid: Grid
    events: tuple[Event, ...]
    retracted: tuple[Retraction, ...]
    account: Account
    results: Results
    boiling_point: UFloat
    quality: tuple[QualityNote, ...]
    log: Log = ()
    conditions: Conditions = NOTHING_KNOWN
    calibrations: tuple[UsedCalibration, ...] = ()
    alarms: tuple[PastAlarm, ...] = ()


def analyse(
    curves: Mapping[Role, Curve],
    channels: Mapping[Role, Channel],
    plan: Plan,
    *,
    notes: Sequence[Event] = (),
    log: Log = (),
    tracked: Tracked | None = None,
    trial: str = "",
    bench: str = "",
) -> Analysis:
    """Analyse a whole record.

    Args:
        curves: Calibrated curves by role, times in seconds from the trial's first sample.
        channels: The bench's channels by role; a role without one is given `default_channel`, and a note says so.
        plan: What a person knows.
        notes: A person's remarks, each an event.
        log: What a person changed of the trial; changes of the plan are in the plan.
        tracked: What the live run said; played through here where None, as a live run would have.
        trial: The trial's id.
        bench: The bench's id.
    """
    grid = without_warmth(grid_of(curves), channels)
    described = {role: channels[role] if role in channels else default_channel(role) for role in curves}
    if tracked is None:
        tracked = track(grid, described, plan)
    said = [*words(log).values(), *(Word(note.kind, None, note) for note in notes)]
    reading = read_record(grid, described, plan, words=said)
    events = _with_announcements(reading, tracked)
    account = build_account(reading.scale, reading.fuel, reading.courses, reading.pot, plan, events, grid.n)
    results = compute_results(account, events, plan, reading.boiling_point_c)
    assumed = [role for role in curves if role not in channels]
    noise_g = reading.scale.loss.noise_g if reading.scale is not None else None
    quality = record_notes(grid, described, assumed, events, boiling_point_basis(reading.place), noise_g)
    return Analysis(
        trial,
        bench,
        plan,
        grid,
        events,
        tuple(tracked.retracted),
        account,
        results,
        reading.boiling_point_c,
        quality,
        tuple(log),
        conditions_of(grid, plan, events, reading.boiling_point_c, noise_g),
    )


def _with_announcements(reading: Reading, tracked: Tracked) -> tuple[Event, ...]:
    """Give each event its announcement and its load's full uncertainty."""
    taken: set[int] = set()
    events = []
    for event in reading.events:
        index = same_event(event, tracked.announced, taken)
        said = None
        if index is not None:
            taken.add(index)
            said = tracked.announced[index].announced_t_s
        events.append(replace(event, announced_t_s=said, size_g=reading.true_size(event)))
    return tuple(events)
