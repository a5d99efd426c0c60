"""One screen of a guided burn, as a document: the same for a page and for a terminal."""

from collections.abc import Mapping
from typing import Any

from emberline.bench.channels import Role
from emberline.bench.errors import PlanError
from emberline.bench.inventory import Kind
from emberline.bench.plan import parse_plan
from emberline.bench.plan_quantities import QUANTITIES
from emberline.trials.guide import checks
from emberline.trials.guide.after import MISSING, Warmth, why_not_cold
from emberline.trials.guide.course import SNUFFED, WITH_WATER, course, keys_of, listed_value, offered, value_of
from emberline.trials.guide.plan_making import changes, plan_table, plan_text
from emberline.trials.guide.seen import Seen
from emberline.trials.guide.state import Guide
from emberline.trials.guide.steps import BY_ID, Part, Step
from emberline.trials.guide.weighing import grams

COLD = ("char", "unburnt", "empty_after", "known_after")
"""Steps that must not be suggested before char and stove are cold."""
NOT_YET = "Not yet: leave it where it is."
"""What is asked at such a step until then."""
_LABELS = {
    "fuel.mass_g": "fuel",
    "fuel.kindling_g": "kindling",
    "fuel.starter_g": "starter",
    "fuel.char_left_g": "cold char",
    "fuel.unburnt_g": "unburnt wood",
    "fuel.char_snuffed_s": "time from flameout to smothering",
    "pot.tare_g": "empty pot",
    "pot.lid_g": "lid",
    "pot.water_g": "water",
    "pot.final_water_g": "water left",
    WITH_WATER: "pot with its water",
    "pot.water_start_c": "your thermometer",
    "place.altitude_m": "height above the sea",
    "place.pressure_pa": "air pressure at the bench",
    "place.ambient_c": "air temperature",
    "load_cell.known_g": "the known mass",
}
_UNITS = {"degC": "°C"}


def screen(guide: Guide, seen: Seen, problems: Mapping[str, str] | None = None) -> dict[str, Any]:
    """Return what is shown of a guide.

    Args:
        guide: Where it is.
        seen: What the bench shows.
        problems: What was wrong with the last answer, by field.
    """
    step, steps = BY_ID[guide.at], course(guide, seen)
    ids = [one.id for one in steps]
    cold = _why_wait(guide, seen, step)
    found = [] if cold else offered(guide, seen) if _weighs(step) else []
    return {
        "step": step.id,
        "part": step.part.value,
        "title": step.title,
        "ask": NOT_YET if cold else step.ask,
        "why": "" if cold else step.why,
        "caution": step.caution,
        "number": ids.index(step.id) + 1 if step.id in ids else 1,
        "of": len(ids),
        "reading": None if cold else _reading(guide, seen, step),
        "wait": cold,
        "offers": [
            {"how": one.how, "value": one.mass_g, "u": one.u_g, "unit": "g", "words": one.words} for one in found
        ],
        "takes": _takes(seen, step, bool(found), cold),
        "fields": _fields(guide, seen, step),
        "listed": _listed(guide, step),
        "warnings": _warnings(guide, seen, step),
        "problems": dict(problems or {}),
        "can_go_back": step.id in ids and ids.index(step.id) > 0,
        "can_skip": step.id not in ("begin", "ready", "finish"),
        "done": [_done(guide, one) for one in steps if one.id not in ("begin", "finish")],
        "begin": _begin(seen) if step.id == "begin" else None,
        "ready": _ready(guide) if step.id == "ready" else None,
        "burn": _burn(guide, seen) if step.part is Part.BURN else None,
        "finish": _finish(guide, seen, steps) if step.id == "finish" else None,
        "trial": guide.trial,
    }


def _weighs(step: Step) -> bool:
    return step.part is Part.WEIGHING or step.id in ("known", "known_after", "pot_after", "char", "unburnt")


def _takes(seen: Seen, step: Step, offers: bool, cold: str) -> bool:
    """Tell whether the bench itself can answer the step now."""
    if cold:
        return False
    if step.id in ("empty", "empty_after"):
        return seen.level is not None and seen.level.steady
    if step.id == "probe":
        return Role.WATER in seen.readings and seen.water_spread_c <= checks.SETTLED_C
    return offers


def _why_wait(guide: Guide, seen: Seen, step: Step) -> str:
    if step.id not in COLD:
        return ""
    marks, readings = guide.marks_ns, seen.readings
    return why_not_cold(
        Warmth(
            seen.now_ns,
            marks.get("flameout"),
            marks.get(SNUFFED),
            readings.get(Role.FLAME),
            readings.get(Role.CELL_TEMPERATURE),
            readings.get(Role.AMBIENT),
        )
    )


def _reading(guide: Guide, seen: Seen, step: Step) -> dict[str, Any] | None:
    """Return the live reading of a step: what was put on so far, or the level itself, or the probe's temperature."""
    if step.id == "probe":
        value = seen.readings.get(Role.WATER)
        steady = value is not None and seen.water_spread_c <= checks.SETTLED_C
        return {"value": value, "u": None, "unit": "°C", "steady": steady, "words": "what the probe shows"}
    level = seen.level
    if level is None or not (_weighs(step) or step.id in ("empty", "empty_after")):
        return None
    whole = f"{grams(level.mean_g)} on the scale in all"
    before = guide.stand.before
    if not _weighs(step) or before is None:
        return {"value": level.mean_g, "u": level.u_g, "unit": "g", "steady": level.steady, "words": "on the scale"}
    found = offered(guide, seen)
    value, u = (found[0].mass_g, found[0].u_g) if found else (level.mean_g - before.mean_g, level.u_g)
    if step.id == "pot_after" and value < 0.0:
        value, whole = -value, "gone with the pot: that weighs it"
    return {"value": value, "u": u, "unit": "g", "steady": level.steady, "words": whole}


def _fields(guide: Guide, seen: Seen, step: Step) -> list[dict[str, Any]]:
    found = []
    for key, name in keys_of(guide, seen, step).items():
        quantity = QUANTITIES[name]
        known = value_of(guide, key)
        shown = "" if known is None or key == step.key else f"{known[0]:g}"
        unit = _UNITS.get(quantity.unit, quantity.unit)
        found.append({"key": key, "label": _LABELS[key], "unit": unit, "value": shown})
    return found


def _listed(guide: Guide, step: Step) -> dict[str, Any] | None:
    listed = listed_value(guide, step.key) if step.key else None
    if listed is None:
        return None
    value, u = listed
    return {"value": value, "u": u or QUANTITIES[step.key.partition(".")[2]].assumed_u(value), "unit": "g"}


def _warnings(guide: Guide, seen: Seen, step: Step) -> list[str]:
    found: list[str] = []
    level = seen.level
    if level is not None and step.part in (Part.CHECKS, Part.WEIGHING) and step.id not in ("begin", "probe"):
        found += checks.cell_words(level)
    if step.id in ("begin", "ready"):
        found.append(checks.disk_words(seen.disk_free_bytes))
    if step.part is Part.WEIGHING or step.id == "ready":
        found.append(_room(guide, seen))
    if step.id == "probe":
        water = seen.readings.get(Role.WATER)
        odd = checks.probe_words(water, None, seen.water_spread_c, None, seen.channels[Role.WATER])
        found += odd if Role.WATER in seen.channels else []
    if step.id == "ready":
        found += _changed(guide)
    return [words for words in found if words]


def _room(guide: Guide, seen: Seen) -> str:
    level, scale = seen.level, seen.channels.get(Role.MASS)
    if level is None or scale is None:
        return ""
    zero = guide.level("empty")
    on_it = level.mean_g - (0.0 if zero is None else zero.mean_g)
    last = {key: part for key, part in (guide.last or {}).items() if isinstance(part, Mapping)}
    to_come = 0.0
    for step in course(guide, seen):
        if step.part is Part.WEIGHING and step.key and step.id not in guide.answers:
            name, _, leaf = step.key.partition(".")
            known = listed_value(guide, step.key)
            to_come += known[0] if known is not None else float(last.get(name, {}).get(leaf, 0.0))
    return checks.room_words(on_it, to_come, scale.capacity_g)


def _changed(guide: Guide) -> list[str]:
    if guide.last is None:
        return []
    try:
        changed = changes(guide.last, plan_table(guide))
    except PlanError:
        return []
    if len(changed) < 2:
        return []
    words = "; ".join(map(str, changed))
    because = "What differs between the two burns cannot be put down to one of them."
    return [f"{len(changed)} things changed since the last burn: {words}. {because}"]


def _done(guide: Guide, step: Step) -> dict[str, Any]:
    answer = guide.answers.get(step.id)
    how = "" if answer is None else answer.how
    return {"step": step.id, "title": step.title, "how": how, "words": "" if answer is None else answer.words}


def _begin(seen: Seen) -> dict[str, Any]:
    last = seen.last or {}
    return {
        "entries": {kind.value: [entry.name for entry in seen.entries if entry.kind is kind] for kind in Kind},
        "last": None if seen.last is None else {"label": last.get("label"), "factors": last.get("factors", {})},
        "last_lot": last.get("fuel", {}).get("lot", ""),
        "last_pot": "pot" in last,
        "last_kindling": "kindling_g" in last.get("fuel", {}),
        "heard": bool(seen.channels),
    }


def _ready(guide: Guide) -> dict[str, Any]:
    text = plan_text(guide)
    try:
        parse_plan(text)
    except PlanError as error:
        return {"plan": text, "refused": [problem.text for problem in error.problems]}
    changed = [] if guide.last is None else [str(change) for change in changes(guide.last, plan_table(guide))]
    return {"plan": text, "refused": [], "changed": changed}


def _burn(guide: Guide, seen: Seen) -> dict[str, Any]:
    marks = {kind: at_ns for kind, at_ns in guide.marks_ns.items() if kind != SNUFFED}
    return {"phase": seen.phase, "marks_ns": marks}


def _finish(guide: Guide, seen: Seen, steps: tuple[Step, ...]) -> dict[str, Any]:
    missing = [
        MISSING[step.id]
        for step in steps
        if step.id in MISSING and (step.id not in guide.answers or guide.answers[step.id].how == "skipped")
    ]
    return {"missing": missing, "advice": list(seen.advice), "summary": seen.summary}
