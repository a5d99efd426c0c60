"""What a person sends from a trial's page: each form becomes one correction, or is refused beside its fields."""

from collections.abc import Mapping
from dataclasses import dataclass

from emberline.bench.errors import PlanError
from emberline.bench.plan_values import PlanValue
from emberline.curves.events import EventKind
from emberline.reports.wording import EVENTS
from emberline.service.desk import By, Desk
from emberline.trials.corrections import (
    AddEvent,
    Change,
    Correction,
    CorrectionError,
    DeleteEvent,
    Exclude,
    Include,
    MoveEvent,
    Target,
    Undo,
)
from emberline.web.moment_field import moment_s, number, whole

WEIGHTS: Mapping[str, tuple[str, str]] = {
    "pot.final_water_g": ("Water left in the pot", "g"),
    "pot.final_water_delay_s": ("The hot pot stood open before that for", "s"),
    "fuel.char_left_g": ("Char, weighed cold", "g"),
    "fuel.char_snuffed_s": ("Char smothered after flameout", "s"),
    "fuel.unburnt_g": ("Unburnt fuel, weighed cold", "g"),
}
"""What is weighed after a burn, by its key in the plan: name and unit of the field."""
FORMS = ("event", "new", "remark", "weights", "plan", "counting", "undo")
"""The forms of a trial's page."""


@dataclass(frozen=True, slots=True)
class Refusals:
    """Why a form was refused.

    Attributes:
        form: Which one.
        by_field: Reasons by field; under "" for the form as a whole.
    """

    form: str
    by_field: Mapping[str, str]


def reference(kind: EventKind, t_s: float, of: int | None) -> str:
    """Write an event so that a form can name it: its kind, its moment, and the correction that set it."""
    return f"{kind.value} {t_s!r} {'' if of is None else of}".strip()


async def correct(desk: Desk, trial: str, form: str, typed: Mapping[str, str]) -> Correction | Refusals:
    """Make the correction that a form asks for.

    Args:
        desk: Takes it.
        trial: Id of the trial.
        form: One of `FORMS`.
        typed: What was typed, by field.

    Raises:
        StoreError: It cannot be kept, or there is no such trial.
    """
    try:
        by = By(typed.get("who", ""), typed.get("why", ""), _seen(typed))
        match form:
            case "weights":
                return await desk.set_values(trial, _weights(typed), by)
            case "plan":
                return await desk.edit_plan(trial, typed.get("plan", "").replace("\r\n", "\n"), by)
            case _:
                return await desk.correct(trial, _change(form, typed), by)
    except CorrectionError as error:
        # A plan that stays as it is has been typed elsewhere than in the plan's own field.
        field = "" if error.field == "plan" and form != "plan" else error.field
        return Refusals(form, {field: _sentence(str(error))})
    except PlanError as error:
        return Refusals(form, _plan_problems(form, error))


def words(made: Correction) -> str:
    """Say in a few words what was done."""
    match made.change:
        case AddEvent(kind=EventKind.NOTE):
            return "The remark is kept."
        case AddEvent(kind=kind) | MoveEvent(target=Target(kind=kind)):
            return f"{EVENTS[kind].capitalize()} is set."
        case DeleteEvent(target=Target(kind=kind)):
            return f"{EVENTS[kind].capitalize()} is deleted."
        case Exclude():
            return "The trial is excluded."
        case Include():
            return "The trial counts again."
        case Undo(of):
            return f"Correction {of} is taken back."
        case _:
            return "The plan is changed."


def _change(form: str, typed: Mapping[str, str]) -> Change:
    match form:
        case "event":
            target = _target(typed.get("event", ""))
            if typed.get("do") == "delete":
                return DeleteEvent(target)
            return MoveEvent(target, *_moment(typed))
        case "new":
            kind = _kind(typed.get("kind", ""))
            if kind is EventKind.NOTE:
                raise CorrectionError("a remark has a form of its own", "kind")
            return AddEvent(kind, *_moment(typed))
        case "remark":
            return AddEvent(EventKind.NOTE, *_moment(typed))
        case "counting":
            return Include() if typed.get("do") == "include" else Exclude()
        case "undo":
            return Undo(int(number(typed.get("of", ""), "", "the number of a correction")))
        case _:
            raise CorrectionError("there is no form of this name")


def _moment(typed: Mapping[str, str]) -> tuple[float, float]:
    zero_s = number(typed.get("zero_s", "0"), "t", "a moment")
    u_s = number(typed.get("u_s", "1"), "u_s", "seconds, such as 1 or 2.5")
    return moment_s(typed.get("t", "")) + zero_s, u_s


def _target(text: str) -> Target:
    parts = text.split(" ")
    if not 2 <= len(parts) <= 3:
        raise CorrectionError("choose the event", "event")
    kind = _kind(parts[0], "event")
    of = int(number(parts[2], "event", "a correction")) if len(parts) == 3 else None
    return Target(kind, number(parts[1], "event", "a moment"), of)


def _kind(text: str, field: str = "kind") -> EventKind:
    try:
        return EventKind(text)
    except ValueError:
        raise CorrectionError("choose what happened", field) from None


def _weights(typed: Mapping[str, str]) -> dict[str, PlanValue | None]:
    values: dict[str, PlanValue | None] = {}
    for key, (_, unit) in WEIGHTS.items():
        text = typed.get(key, "").strip()
        values[key] = number(text, key, f"a number in {unit}, or nothing") if text else None
    return values


def _seen(typed: Mapping[str, str]) -> int | None:
    return whole(typed.get("seen", ""))


def _plan_problems(form: str, error: PlanError) -> dict[str, str]:
    """Return a plan's problems beside the weights that they are about, the others under the plan or the whole form."""
    if form == "plan":
        return {"plan": str(error)}
    told: dict[str, str] = {}
    for problem in error.problems:
        key = next((key for key in WEIGHTS if problem.text.startswith(key.rpartition(".")[2])), "")
        told[key] = f"{told[key]}; {problem.text}" if key in told else problem.text
    return told


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?")) else f"{text}."
