"""Scenarios: what is burnt, on what bench, and what happens meanwhile. Read from TOML, strictly."""

import difflib
import tomllib
import types
import typing
from dataclasses import MISSING, dataclass, field, fields, is_dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from emberline_sim.errors import ScenarioError, UnknownScenarioError
from emberline_sim.specs import ChannelsSpec, GapSpec
from emberline_sim.trial_specs import BurnSpec, FuelSpec, HandSpec, PlaceSpec, PlanSpec, PotSpec, RefuelSpec

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Scenario:
    """One burn on one simulated bench.

    Attributes:
        title: One line.
        story: What happens, for a reader.
        seed: Seed of every chance in it.
        duration_s: Length of the record.
        fuel: The batch; None for a bench that only warms water on another heater (`heater_w`).
        heater_w: Power of that other heater.
        stove_g: Mass of the empty stove.

    """

    title: str
    story: str
    seed: int
    duration_s: float
    channels: ChannelsSpec
    fuel: FuelSpec | None = None
    burn: BurnSpec = field(default_factory=BurnSpec)
    refuel: tuple[RefuelSpec, ...] = ()
    pot: PotSpec | None = None
    place: PlaceSpec = field(default_factory=PlaceSpec)
    hand: tuple[HandSpec, ...] = ()
    gap: tuple[GapSpec, ...] = ()
    plan: PlanSpec = field(default_factory=PlanSpec)
    heater_w: float = 0.0
    stove_g: float = 640.0
    name: str = ""


def scenario_names() -> list[str]:
    """Return the names of the packaged scenarios, sorted."""
    folder = resources.files("emberline_sim") / "scenarios"
    return sorted(entry.name.removesuffix(".toml") for entry in folder.iterdir() if entry.name.endswith(".toml"))


def load_scenario(name_or_path: str, *, seed: int | None = None) -> Scenario:
    """Load a packaged scenario by name, or a TOML file by path.

    Args:
        name_or_path: A name of `scenario_names()`, or a path that ends in `.toml`.
        seed: Replaces the scenario's own seed.

    Raises:
        ScenarioError: The scenario does not exist, is not TOML, or holds something unknown or impossible.

    """
    if name_or_path.endswith(".toml"):
        path = Path(name_or_path)
        if not path.is_file():
            raise UnknownScenarioError(f"no such scenario file: {name_or_path}")
        try:
            name, text = path.stem, path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise ScenarioError(f"{path} cannot be read as text: {error}") from error
    else:
        names = scenario_names()
        if name_or_path not in names:
            near = difflib.get_close_matches(name_or_path, names, n=1)
            hint = f"did you mean {near[0]}?" if near else "known: " + ", ".join(names)
            raise UnknownScenarioError(f"unknown scenario {name_or_path!r}; {hint}")
        name = name_or_path
        text = (resources.files("emberline_sim") / "scenarios" / f"{name}.toml").read_text(encoding="utf-8")
    scenario = replace(parse_scenario(text), name=name)
    return scenario if seed is None else replace(scenario, seed=seed)


def parse_scenario(text: str) -> Scenario:
    """Build a scenario from TOML text.

    Raises:
        ScenarioError: The text is not TOML, or holds something unknown or impossible.

    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(f"not valid TOML: {error}") from error
    scenario = _build(Scenario, data, "")
    check(scenario)
    return scenario


def check(scenario: Scenario) -> None:
    """Refuse a scenario that contradicts itself.

    Raises:
        ScenarioError: With the first contradiction found.

    """
    fuel, burn, pot = scenario.fuel, scenario.burn, scenario.pot
    if scenario.duration_s <= 0:
        raise ScenarioError("duration_s must be above zero")
    if fuel is not None and not (fuel.mass_g > 0 and 0 <= fuel.moisture_wet < 0.6):
        raise ScenarioError("fuel: mass_g must be above zero and moisture_wet a fraction below 0.6")
    if fuel is None and (scenario.refuel or scenario.heater_w <= 0):
        raise ScenarioError("without [fuel] there must be a heater_w and no [[refuel]]")
    if burn.relit_s is not None and (burn.smother_s is None or burn.relit_s <= burn.smother_s):
        raise ScenarioError("burn.relit_s needs an earlier burn.smother_s")
    if not 0.02 <= burn.extinction <= 0.4:
        raise ScenarioError("burn.extinction is a fraction between 0.02 and 0.4")
    if scenario.plan.weighs_char and burn.snuffed_after_s is None:
        raise ScenarioError("plan.weighs_char needs burn.snuffed_after_s: burning char cannot be weighed")
    if pot is not None:
        if pot.stands == "pot_cell" and scenario.channels.pot_mass is None:
            raise ScenarioError('pot.stands = "pot_cell" needs [channels.pot_mass]')
        for before, after in zip(pot.visits, pot.visits[1:], strict=False):
            if after.on_s <= before.on_s or (before.off_s is None and before.off_after_boil_s is None):
                raise ScenarioError("pot.visits must follow each other, each but the last with its end")


def _build(cls: type[T], data: dict[str, Any], where: str) -> T:
    """Fill a dataclass from a TOML table; unknown keys and wrong types are errors."""
    hints = typing.get_type_hints(cls)
    known = {f.name: f for f in fields(cls) if f.name != "name"}  # type: ignore[arg-type]
    for key in data:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            hint = f"; did you mean {near[0]}?" if near else f"; known keys: {', '.join(known)}"
            raise ScenarioError(f"unknown key {where}{key}{hint}")
    missing = [n for n, f in known.items() if n not in data and f.default is MISSING and f.default_factory is MISSING]
    if missing:
        raise ScenarioError(f"missing key {where}{missing[0]}")
    return cls(**{key: _convert(hints[key], value, where + key) for key, value in data.items()})


def _convert(hint: Any, value: Any, where: str) -> Any:
    origin, args = typing.get_origin(hint), typing.get_args(hint)
    if origin in (types.UnionType, typing.Union):
        return _convert(next(arg for arg in args if arg is not type(None)), value, where)
    if origin is tuple:
        if not isinstance(value, list):
            raise ScenarioError(f"{where} must be a list")
        kinds = [args[0]] * len(value) if args[1:] == (Ellipsis,) else list(args)
        if len(kinds) != len(value):
            raise ScenarioError(f"{where} must have {len(kinds)} entries")
        return tuple(
            _convert(kind, item, f"{where}[{i}]") for i, (kind, item) in enumerate(zip(kinds, value, strict=True))
        )
    if origin is dict:
        if not isinstance(value, dict) or not all(isinstance(item, str) for item in value.values()):
            raise ScenarioError(f"{where} must be a table of texts")
        return value
    if origin is typing.Literal:
        if value not in args:
            raise ScenarioError(f"{where} must be one of {', '.join(map(str, args))}, not {value!r}")
        return value
    if is_dataclass(hint):
        if not isinstance(value, dict):
            raise ScenarioError(f"{where} must be a table")
        return _build(typing.cast("type[Any]", hint), value, where + ".")
    if hint is float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise ScenarioError(f"{where} must be a number, not {value!r}")
        return float(value)
    if type(value) is not hint:
        raise ScenarioError(f"{where} must be of type {hint.__name__}, not {value!r}")
    return value
