"""The course of a guided burn: what each answer leads to. No clock and no scale of its own: all of it is told.

A person answers a step by taking what the scale shows, by typing, or by skipping it, and may go back to any step.
"""

from collections.abc import Mapping
from dataclasses import replace
from math import hypot
from typing import Any

from uncertainties import UFloat, ufloat

from emberline.bench.channels import Role
from emberline.bench.inventory import NUMBERS, Kind
from emberline.bench.plan import LoadCellPlan
from emberline.heat.cell_check import span_error
from emberline.trials.guide import checks
from emberline.trials.guide.plan_making import begun_from, merged
from emberline.trials.guide.seen import Seen
from emberline.trials.guide.state import Answer, Guide
from emberline.trials.guide.steps import BY_ID, Step, steps_for
from emberline.trials.guide.typed import GuideError, typed_numbers
from emberline.trials.guide.weighing import Offer, Stand, grams, offers

WITH_WATER = "pot.with_water_g"
"""What a balance shows of the pot with its water; the plan wants the water alone."""
ON_EMPTY = ("known", "stove")
"""Steps whose things are put on the empty scale."""
SNUFFED = "snuffed"
"""Name of the mark that a person sets as the char is smothered."""


def begin(now_ns: int) -> Guide:
    """Begin a guided burn."""
    return Guide(begun_ns=now_ns)


def course(guide: Guide, seen: Seen) -> tuple[Step, ...]:
    """Return the steps that this burn needs."""
    has = frozenset(role.value for role in seen.channels)
    return steps_for(has, guide.base, kindling=guide.kindling)


def look(guide: Guide, seen: Seen) -> Guide:
    """Take in what the bench shows: where the level is, and what happened to the trial."""
    for level in (*seen.missed, seen.level):
        if level is not None:
            guide = replace(guide, stand=guide.stand.seen(level))
    if guide.at == "probe" and guide.air_c is None:
        guide = replace(guide, air_c=seen.readings.get(Role.WATER))
    if guide.trial is None:
        return guide
    # What was announced and taken back is no mark any more; what a person marked stays.
    own = {kind: at_ns for kind, at_ns in guide.marks_ns.items() if kind == SNUFFED}
    guide = replace(guide, marks_ns={**own, **seen.marks_ns})
    if seen.lift_g is not None and "pot_off" in seen.marks_ns and "pot_after" not in guide.answers:
        words = f"The scale saw {seen.lift_g:.1f} g go with the pot: that weighs it."
        guide = _with(guide, "pot_after", Answer("seen", seen.marks_ns["pot_off"], {}, words))
        if guide.at == "pot_after":
            guide = _next(guide, seen)
    guide = _dated_snuff(guide)
    if guide.at == "burn" and "flameout" in guide.marks_ns:
        return _next(guide, seen, unanswered=True)
    return guide


def act(guide: Guide, seen: Seen, request: Mapping[str, Any]) -> Guide:
    """Do what a person asks, and return where that leads.

    Args:
        guide: Where the guide is.
        seen: What the bench shows.
        request: `act` is one of `begin`, `take`, `type`, `skip`, `next`, `tare`, `mark`, `back` and `go`; with `values`
            typed by key, the number of an `offer`, or the `step` to go to.

    Raises:
        GuideError: It cannot be done; the words say why.
    """
    step = BY_ID[guide.at]
    values = {str(key): str(text) for key, text in (request.get("values") or {}).items()}
    match request.get("act"):
        case "begin" if step.id == "begin":
            return _begun(guide, seen, request)
        case "take":
            return _next(_with(guide, step.id, _taken(guide, seen, step, values, int(request.get("offer") or 0))), seen)
        case "type":
            return _next(_with(guide, step.id, _typed(guide, seen, step, values)), seen)
        case "skip" | "next" if step.id not in ("begin", "ready", "finish"):
            return _next(_with(guide, step.id, _passed_over(guide, seen, step)), seen)
        case "tare" if seen.level is not None and seen.level.steady:
            return replace(guide, stand=Stand(seen.level, seen.level))
        case "mark" if step.id == "snuff":
            marks = {**guide.marks_ns, SNUFFED: seen.now_ns}
            answer = Answer("seen", seen.now_ns, {}, "smothered")
            return _next(_dated_snuff(_with(replace(guide, marks_ns=marks), step.id, answer)), seen)
        case "back":
            return go_to(guide, seen, _neighbour(guide, seen, -1))
        case "go":
            return go_to(guide, seen, str(request.get("step")))
    raise GuideError({"": "That cannot be done at this step."})


def go_to(guide: Guide, seen: Seen, step: str) -> Guide:
    """Go to a step; its answer stands until it is answered anew.

    Raises:
        GuideError: This burn has no such step, or it is not the time for it.
    """
    ids = [one.id for one in course(guide, seen)]
    if step not in ids:
        raise GuideError({"": "This burn has no such step."})
    if guide.trial is None and ids.index(step) > ids.index("ready"):
        raise GuideError({"": "Open the trial first."})
    return replace(guide, at=step, stand=_stand_at(guide, seen, step), air_c=None)


def opened(guide: Guide, seen: Seen, trial: str, plan_text: str) -> Guide:
    """Go on with the trial that was opened."""
    guide = replace(guide, trial=trial, plan_written=plan_text)
    return _next(_with(guide, "ready", Answer("seen", seen.now_ns, {}, f"trial {trial}")), seen)


def span_of(guide: Guide, seen: Seen) -> UFloat:
    """Return the error of the scale's span, as a known mass showed it today."""
    u_scale = seen.channels[Role.MASS].u_scale
    answer = guide.answers.get("known")
    values = {} if answer is None else answer.values
    known, shown = values.get("load_cell.known_g"), values.get("load_cell.shown_g")
    if known is None or shown is None:
        return span_error(u_scale, LoadCellPlan())
    return span_error(u_scale, LoadCellPlan(ufloat(*known), ufloat(*shown)))


def offered(guide: Guide, seen: Seen) -> list[Offer]:
    """Return what the scale offers for the step."""
    if seen.level is None or Role.MASS not in seen.channels:
        return []
    channel = seen.channels[Role.MASS]
    if guide.at in ("known", "known_after"):
        # What is shown is asked for, not what is true.
        return offers(seen.level, guide.stand, channel, ufloat(0.0, 1e-9), apart=guide.at in ON_EMPTY)
    holder = None
    if guide.at in ("water", "pot_after"):
        pot = value_of(guide, "pot.tare_g")
        holder = None if pot is None else (*pot, "the pot")
    apart = guide.at in ON_EMPTY or any(answer.alone for answer in guide.answers.values())
    return offers(seen.level, guide.stand, channel, span_of(guide, seen), holder_g=holder, apart=apart)


def value_of(guide: Guide, key: str) -> tuple[float, float] | None:
    """Return a number that is known by now, answered or begun with, and its standard uncertainty."""
    for answer in guide.answers.values():
        if key in answer.values:
            return answer.values[key]
    return listed_value(guide, key)


def listed_value(guide: Guide, key: str) -> tuple[float, float] | None:
    """Return a number that the burn began with, from the inventory or the last plan, and its standard uncertainty."""
    name, _, leaf = key.partition(".")
    part = guide.base.get(name, {})
    return (float(part[leaf]), float(part.get(f"u_{leaf}", 0.0))) if leaf in part else None


def keys_of(guide: Guide, seen: Seen, step: Step) -> dict[str, str]:
    """Return what can be typed at a step: its keys, each with its name in the plan's table of quantities."""
    keys = [step.key] if step.key else []
    keys += [
        key for key in step.typed if key != "pot.water_start_c" or Role.WATER in seen.channels or step.id == "probe"
    ]
    found = {key: key.partition(".")[2] for key in keys}
    if step.id == "pot_after" and value_of(guide, "pot.tare_g") is not None:
        found[WITH_WATER] = "water_g"
    return found


def _begun(guide: Guide, seen: Seen, request: Mapping[str, Any]) -> Guide:
    as_last = bool(request.get("as_last")) and seen.last is not None
    base: dict[str, Any] = begun_from(seen.last) if as_last and seen.last is not None else {}
    for kind, table, keys in ((Kind.LOT, "fuel", NUMBERS[Kind.LOT]), (Kind.POT, "pot", ()), (Kind.STOVE, "", ())):
        name = str(request.get(kind.value) or "")
        if not name:
            continue
        entry = seen.entry(kind, name)
        if entry is None:
            raise GuideError({kind.value: f"The inventory has no {kind.value} {name!r}."})
        if kind is Kind.POT:
            base.pop("pot", None)
        for key in keys:
            base.get(table, {}).pop(key, None)
            base.get(table, {}).pop(f"u_{key}", None)
        base = merged(base, entry.plan)
    if request.get("with_pot") and "pot" not in base:
        base["pot"] = {}
    if not request.get("with_pot"):
        base.pop("pot", None)
        base.get("factors", {}).pop("pot", None)
    factors = {str(key).strip(): str(word).strip() for key, word in (request.get("factors") or {}).items()}
    # What stands in a form as it stood last time is no choice: another lot, stove or pot comes with its own.
    before = {} if seen.last is None or not as_last else seen.last.get("factors", {})
    chosen = {key: word for key, word in factors.items() if before.get(key) != word}
    kept = {**base.get("factors", {}), **chosen}
    base["factors"] = {key: word for key, word in kept.items() if key and word}
    label = str(request.get("label") or "").strip()
    if label:
        base = {"label": label, **base}
    guide = replace(
        guide,
        base=base,
        last=dict(seen.last) if as_last and seen.last is not None else None,
        kindling=bool(request.get("kindling")),
    )
    return _next(guide, seen)


def _taken(guide: Guide, seen: Seen, step: Step, values: Mapping[str, str], which: int) -> Answer:
    """Return the answer that bench and inventory give to a step."""
    if step.id == "probe":
        return _probed(guide, seen, values)
    if step.id in ("empty", "empty_after"):
        return _emptied(guide, seen, step)
    found = offered(guide, seen)
    if not 0 <= which < len(found):
        raise GuideError({"": "The scale has nothing to offer yet: wait until it is steady, or type the number."})
    offer, level = found[which], seen.level
    if step.id in ("known", "known_after"):
        return _known(guide, seen, step, values, offer)
    answers = {} if not step.key else {step.key: (offer.mass_g, offer.u_g)}
    if step.id == "pot_after":
        answers.update(_delay(guide, seen))
    alone = offer.how == "alone" and step.id not in ON_EMPTY
    return Answer("scale", seen.now_ns, answers, f"{offer.mass_g:.1f} g", level, alone)


def _passed_over(guide: Guide, seen: Seen, step: Step) -> Answer:
    """Return what becomes of a step that is passed over: what was answered, or what the list says, or nothing."""
    answer = guide.answers.get(step.id)
    if answer is not None and answer.how != "skipped":
        return answer
    listed = listed_value(guide, step.key)
    if listed is not None:
        return Answer("list", seen.now_ns, {}, f"{listed[0]:.1f} g, as listed")
    return Answer("skipped", seen.now_ns)


def _emptied(guide: Guide, seen: Seen, step: Step) -> Answer:
    level = seen.level
    if level is None or not level.steady:
        raise GuideError({"": "The scale is not steady yet: wait a moment, or skip this."})
    before = guide.level("empty")
    if step.id == "empty" or before is None:
        return Answer("scale", seen.now_ns, {}, grams(level.mean_g), level)
    values, words = checks.zero_after(before, level, seen.channels[Role.MASS])
    return Answer("scale", seen.now_ns, values, words, level)


def _known(guide: Guide, seen: Seen, step: Step, values: Mapping[str, str], offer: Offer) -> Answer:
    key = "load_cell.known_g"
    known = typed_numbers(values, {key: "known_g"}).get(key) or value_of(guide, key)
    if known is None:
        raise GuideError({key: "Say how much the known mass is."})
    u_known = known[1] or 0.05
    shown = "load_cell.shown_g" if step.id == "known" else "load_cell.shown_after_g"
    if abs(offer.mass_g - known[0]) > 0.03 * known[0]:
        words = f"{offer.mass_g:.1f} g shown for {known[0]:.1f} g: is that the mass, and does it stand free?"
        raise GuideError({"": f"{words} If so, calibrate the scale first: `emberline calibrate mass`."})
    words, in_doubt = checks.known_words(offer.mass_g, offer.u_g, known[0], u_known, seen.channels[Role.MASS])
    words += "" if in_doubt else " Weights are corrected by it."
    found = {shown: (offer.mass_g, offer.u_g)}
    if step.id == "known":
        found[key] = (known[0], u_known)
    return Answer("scale", seen.now_ns, found, words, seen.level)


def _probed(guide: Guide, seen: Seen, values: Mapping[str, str]) -> Answer:
    now_c = seen.readings.get(Role.WATER)
    if now_c is None:
        raise GuideError({"": "The probe shows nothing: see to its plug and its wire, or skip this."})
    typed = typed_numbers(values, {"pot.water_start_c": "water_start_c"}).get("pot.water_start_c")
    odd = checks.probe_words(
        now_c, guide.air_c, seen.water_spread_c, None if typed is None else typed[0], seen.channels[Role.WATER]
    )
    return Answer("seen", seen.now_ns, {}, " ".join([f"{now_c:.1f} °C in the water.", *odd]))


def _typed(guide: Guide, seen: Seen, step: Step, values: Mapping[str, str]) -> Answer:
    keys = keys_of(guide, seen, step)
    found = typed_numbers(values, keys)
    if not found:
        first = next(iter(keys), "")
        raise GuideError({first: "Type a number, or skip this."})
    with_water, tare = found.pop(WITH_WATER, None), value_of(guide, "pot.tare_g")
    if with_water is not None and tare is not None:
        left_g = with_water[0] - tare[0]
        if left_g < 0.0:
            raise GuideError({WITH_WATER: f"That is less than the {tare[0]:.1f} g of the empty pot."})
        found["pot.final_water_g"] = (left_g, hypot(with_water[1] or 0.5, tare[1] or 0.5))
    if step.id == "pot_after":
        found.update(_delay(guide, seen))
    words = ", ".join(_spoken(key, value) for key, (value, _) in found.items())
    if step.id == "probe" and Role.WATER in seen.channels:
        # The probe will tell; a thermometer's number is only to check it by.
        return replace(_probed(guide, seen, values), how="typed")
    return Answer("typed", seen.now_ns, found, words)


def _delay(guide: Guide, seen: Seen) -> dict[str, tuple[float, float]]:
    """Return how long ago the pot was lifted, where that is known."""
    off_ns = guide.marks_ns.get("pot_off")
    if off_ns is None:
        return {}
    return {"pot.final_water_delay_s": (max((seen.now_ns - off_ns) / 1e9, 0.0), 3.0)}


def _dated_snuff(guide: Guide) -> Guide:
    """Say how long after flameout the char was smothered, once both moments are known."""
    snuffed, out = guide.marks_ns.get(SNUFFED), guide.marks_ns.get("flameout")
    answer = guide.answers.get("snuff")
    if snuffed is None or out is None or answer is None or answer.how != "seen":
        return guide
    seconds = max((snuffed - out) / 1e9, 0.0)
    words = f"smothered {seconds:.0f} s after the flame"
    return _with(guide, "snuff", replace(answer, values={"fuel.char_snuffed_s": (seconds, 10.0)}, words=words))


def _with(guide: Guide, step: str, answer: Answer) -> Guide:
    return replace(guide, answers={**guide.answers, step: answer})


def _next(guide: Guide, seen: Seen, *, unanswered: bool = False) -> Guide:
    """Go to the next step, or to the next that was not answered yet."""
    step = _neighbour(guide, seen, +1)
    steps = [one.id for one in course(guide, seen)]
    while unanswered and step in guide.answers and step != steps[-1]:
        step = steps[steps.index(step) + 1]
    return replace(guide, at=step, stand=_stand_at(guide, seen, step), air_c=None)


def _stand_at(guide: Guide, seen: Seen, step: str) -> Stand:
    """Return where the level is as a step begins. What is put on the empty scale is weighed against its zero."""
    level = seen.level if seen.level is not None and seen.level.steady else None
    zero = guide.level("empty") if step in ON_EMPTY else guide.level("empty_after") if step == "known_after" else None
    return Stand(level or zero, zero or level)


def _neighbour(guide: Guide, seen: Seen, by: int) -> str:
    ids = [step.id for step in course(guide, seen)]
    if guide.at not in ids:
        return ids[0]
    place = ids.index(guide.at) + by
    return ids[min(max(place, 0), len(ids) - 1)]


def _spoken(key: str, value: float) -> str:
    leaf = key.partition(".")[2]
    for ending, unit in (("_g", "g"), ("_s", "s"), ("_c", "°C"), ("_m", "m"), ("_pa", "Pa")):
        if leaf.endswith(ending):
            return f"{value:g} {unit}"
    return f"{value:g}"
