"""The steps of a guided burn: what is asked, in which order, and which of them a burn needs."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any


class Part(StrEnum):
    """Which part of a burn a step belongs to."""

    CHECKS = "checks"
    WEIGHING = "weighing"
    READY = "ready"
    BURN = "burn"
    AFTER = "after"


@dataclass(frozen=True, slots=True)
class Step:
    """One step.

    Attributes:
        id: Its name for programs.
        part: Which part it belongs to.
        title: Its name for people.
        ask: What to do, as an order.
        why: What for, in a sentence.
        key: Key of the plan that it fills (`fuel.mass_g`), by the scale or typed; empty where it fills none.
        typed: Keys that can be typed besides.
        caution: What can hurt.
    """

    id: str
    part: Part
    title: str
    ask: str
    why: str = ""
    key: str = ""
    typed: tuple[str, ...] = ()
    caution: str = ""


HOT = "Char can rekindle for hours and gives off carbon monoxide: weigh and carry only what is cold."
"""Said with every step that handles char or the stove after a burn."""
_FIRE = (
    "Burn outdoors or under a working hood, and never leave it: carbon monoxide has no smell. Boiling water and steam "
    "scald."
)
_SCALD = "Boiling water and steam scald: lift the pot with both hands, and set it down level."
_STARTER = "Cap the bottle and take it away before the match; never pour any on a stove that is lit or hot."

STEPS: tuple[Step, ...] = (
    Step("begin", Part.CHECKS, "What you burn", "Say what you burn, in which stove and pot."),
    Step(
        "empty",
        Part.CHECKS,
        "Empty scale",
        "Take everything off the scale.",
        "Its zero now, against its zero after the burn, tells how far it drifted.",
    ),
    Step(
        "known",
        Part.CHECKS,
        "Known mass",
        "Put a mass on the scale that you know.",
        "It shows whether the scale weighs true today.",
        typed=("load_cell.known_g",),
    ),
    Step(
        "probe",
        Part.CHECKS,
        "Water probe",
        "Put the probe into the water that you will use.",
        "It must answer, and agree with a thermometer if you have one.",
        typed=("pot.water_start_c",),
    ),
    Step("stove", Part.WEIGHING, "Empty stove", "Put the empty stove on the scale.", "Empty, so that old ash shows."),
    Step("fuel", Part.WEIGHING, "Fuel", "Put the fuel in.", key="fuel.mass_g"),
    Step("kindling", Part.WEIGHING, "Kindling", "Lay the kindling on top.", key="fuel.kindling_g"),
    Step("starter", Part.WEIGHING, "Starter", "Pour the starter on.", key="fuel.starter_g", caution=_STARTER),
    Step("pot", Part.WEIGHING, "Empty pot", "Put the empty, dry pot on the scale, without its lid.", key="pot.tare_g"),
    Step("lid", Part.WEIGHING, "Lid", "Put the lid on.", key="pot.lid_g"),
    Step("water", Part.WEIGHING, "Water", "Pour the water in.", key="pot.water_g"),
    Step(
        "place",
        Part.READY,
        "Place",
        "Say how high you are, or what the barometer shows.",
        "Water boils 1 K lower for each 300 m.",
        typed=("place.altitude_m", "place.pressure_pa", "place.ambient_c"),
    ),
    Step(
        "ready",
        Part.READY,
        "Ready",
        "Set the stove up on the scale as it will burn, the pot beside it or on it. Then open the trial.",
    ),
    Step("burn", Part.BURN, "The burn", "Light it. Set the pot on and lift it whenever you want.", caution=_FIRE),
    Step(
        "pot_after",
        Part.AFTER,
        "Pot now",
        "Lift the pot off in one movement.",
        "A hot open pot loses water all the time: each second counts.",
        key="pot.final_water_g",
        caution=_SCALD,
    ),
    Step(
        "snuff",
        Part.AFTER,
        "Smother the char",
        "Put the lid of a metal can on the char, outdoors, and say when.",
        "What glows on is lost to the weight.",
        typed=("fuel.char_snuffed_s",),
        caution=HOT,
    ),
    Step(
        "char",
        Part.AFTER,
        "Cold char",
        "Put the cold char on the scale.",
        key="fuel.char_left_g",
        caution=HOT,
    ),
    Step(
        "unburnt",
        Part.AFTER,
        "Unburnt wood",
        "Sort the pieces that have not charred from the char, and put them on the scale.",
        key="fuel.unburnt_g",
        caution=HOT,
    ),
    Step(
        "empty_after",
        Part.AFTER,
        "Empty scale again",
        "Take everything off the scale, the stove only once it is cold.",
        caution=HOT,
    ),
    Step("known_after", Part.AFTER, "Known mass again", "Put the same known mass on the scale."),
    Step("finish", Part.AFTER, "What it came to", "The trial has its plan."),
)
"""All steps in their order."""
BY_ID: Mapping[str, Step] = {step.id: step for step in STEPS}


def steps_for(has: frozenset[str], base: Mapping[str, Any], *, kindling: bool) -> tuple[Step, ...]:
    """Return the steps of one burn.

    Args:
        has: Roles of the bench's channels.
        base: The plan that it begins from.
        kindling: Whether kindling is weighed apart.
    """
    pot = base.get("pot")
    with_pot = pot is not None
    lid = bool((pot or {}).get("lid"))
    left_out = {
        "kindling": not kindling,
        "probe": not with_pot,
        "pot": not with_pot,
        "water": not with_pot,
        "pot_after": not with_pot,
        "lid": not lid,
    }
    scale = "mass" in has
    for step in ("empty", "known", "stove", "empty_after", "known_after"):
        left_out[step] = not scale
    return tuple(step for step in STEPS if not left_out.get(step.id, False))
