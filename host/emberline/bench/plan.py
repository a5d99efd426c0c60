"""The plan of a trial: what a person knows about fuel, pot and place.

Every number is an `uncertainties` variable, or None where the person gave none, tagged with its key in the plan
(`fuel.moisture_wet`, `pot.visit.1.water_g`). A key `u_<name>` gives its standard uncertainty; without one, the table
`plan_quantities.QUANTITIES` holds.
"""

import math
from dataclasses import dataclass, field

from uncertainties import UFloat

from emberline.bench import fuels
from emberline.bench.air import Place as Place
from emberline.bench.errors import PlanError as PlanError
from emberline.bench.plan_quantities import QUANTITIES
from emberline.bench.toml_reading import Quantity, Reading, Section

_RUN = Quantity(1.0, 1_000.0, "")
SPAN_BEYOND_USE = 0.03
"""Share by which a known mass may be shown wrong; beyond it, a line through two points is no calibration any more."""
CLEARLY = 5.0
"""Standard uncertainties beyond which a weight that cannot be is a slip and no error of the balance."""
LOAD_CELL_KEYS = ("known_g", "shown_g", "shown_after_g", "zero_drift_g", "zero_drift_s")


@dataclass(frozen=True, slots=True, eq=False)
class FuelPlan:
    """The first fill of fuel. Masses in grams as weighed, moisture on the wet basis, heating values in J/g.

    Attributes:
        mass_g: Moist fuel, kindling and starter not counted.
        moisture_wet: Water over moist mass.
        lhv_dry_j_g: Net calorific value of the dry fuel.
        char_lhv_j_g: Net calorific value of its char.
        starter_g: Liquid fire starter.
        starter_lhv_j_g: Its net calorific value.
        lot: Name of the lot whose heating value is shared between trials.
        kindling_g: Dry wood for lighting.
        kindling_moisture_wet: Its moisture.
        ash_fraction: Ash over dry fuel.
        char_left_g: Char weighed cold after the trial.
        unburnt_g: Raw fuel weighed cold after the trial.
        char_snuffed_s: Seconds after flameout when the char was smothered.
    """

    mass_g: UFloat | None = None
    moisture_wet: UFloat | None = None
    lhv_dry_j_g: UFloat | None = None
    char_lhv_j_g: UFloat | None = None
    starter_g: UFloat | None = None
    starter_lhv_j_g: UFloat | None = None
    lot: str | None = None
    kindling_g: UFloat | None = None
    kindling_moisture_wet: UFloat | None = None
    ash_fraction: UFloat | None = None
    char_left_g: UFloat | None = None
    unburnt_g: UFloat | None = None
    char_snuffed_s: UFloat | None = None


@dataclass(frozen=True, slots=True, eq=False)
class VisitPlan:
    """One stay of the pot on the stove.

    Attributes:
        water_g: Water put in.
        final_water_g: Water left when it was weighed afterwards.
        final_water_delay_s: How long the hot pot stood open, off the stove, before that weighing.
    """

    water_g: UFloat | None = None
    final_water_g: UFloat | None = None
    final_water_delay_s: UFloat | None = None


@dataclass(frozen=True, slots=True, eq=False)
class PotPlan:
    """The pot.

    Attributes:
        tare_g: Empty pot without its lid.
        lid: Whether a lid was on it.
        lid_g: The lid's mass.
        heat_capacity_j_k: Of the empty pot.
        water_start_c: Water temperature at the start, where no probe tells.
        every: What holds for a visit that has no entry of its own.
        visits: What was given for single visits, already completed from `every`.
    """

    tare_g: UFloat | None = None
    lid: bool = False
    lid_g: UFloat | None = None
    heat_capacity_j_k: UFloat | None = None
    water_start_c: UFloat | None = None
    every: VisitPlan = field(default_factory=VisitPlan)
    visits: tuple[VisitPlan, ...] = ()

    def visit(self, index: int) -> VisitPlan:
        """Return what is known of a visit, counted from 0; the values of `[pot]` serve where it has none of its own."""
        return self.visits[index] if index < len(self.visits) else self.every


@dataclass(frozen=True, slots=True, eq=False)
class RefuelPlan:
    """One weighed addition of fuel.

    Attributes:
        mass_g: Moist mass.
        moisture_wet: Water over moist mass; None means that of the first fill.
        lot: Name of its lot; None means that of the first fill.
    """

    mass_g: UFloat | None = None
    moisture_wet: UFloat | None = None
    lot: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class LoadCellPlan:
    """What a person asked the load cell itself, before and after the burn.

    Attributes:
        known_g: A known mass that was laid on it.
        shown_g: What the load cell showed of it before the burn, the empty or laden cell taken off.
        shown_after_g: The same after the burn.
        zero_drift_g: What the empty cell showed after the burn, less what it showed before.
        zero_drift_s: Time between those two looks at the empty cell.
    """

    known_g: UFloat | None = None
    shown_g: UFloat | None = None
    shown_after_g: UFloat | None = None
    zero_drift_g: UFloat | None = None
    zero_drift_s: UFloat | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """All that a person said about a trial.

    Attributes:
        label: Name for people.
        factors: Named conditions that vary between trials.
        fuel: The first fill.
        pot: The pot, or None where none was planned.
        place: Where it burns.
        refuels: Weighed additions, in order.
        load_cell: What the load cell was asked.
        series: Name of the planned series to which the trial belongs.
        run: Its number in the order of that series, from 1.
    """

    label: str | None = None
    factors: dict[str, str] = field(default_factory=dict)
    fuel: FuelPlan = field(default_factory=FuelPlan)
    pot: PotPlan | None = None
    place: Place = field(default_factory=Place)
    refuels: tuple[RefuelPlan, ...] = ()
    load_cell: LoadCellPlan = field(default_factory=LoadCellPlan)
    series: str | None = None
    run: int | None = None


def empty_plan() -> Plan:
    """Return the plan of a person who said nothing."""
    return Plan()


def parse_plan(text: str) -> Plan:
    """Read a plan from TOML.

    Raises:
        PlanError: listing everything wrong with the text.
    """
    reading = Reading(text)
    root = reading.root
    label = root.text("label")
    factors = root.words("factors")
    fuel = _fuel(root.section("fuel"))
    pot = _pot(root.section("pot"))
    place = _place(root.section("place"))
    refuels = tuple(_refuel(section) for section in root.sections("refuel"))
    load_cell = _load_cell(root.section("load_cell"))
    series, run = root.text("series"), root.whole("run", _RUN)
    if ("series" in root) != ("run" in root):
        root.complain(
            "series" if "series" in root else "run", "series and run go together: a series, and which run of it"
        )
    root.close()
    plan = Plan(label, factors, fuel, pot, place, refuels, load_cell, series, run)
    if reading.readable:
        _check_remains(reading, plan)
    if reading.problems:
        raise PlanError(reading.problems)
    return plan


def _fuel(section: Section | None) -> FuelPlan:
    if section is None:
        return FuelPlan()
    moisture = _moisture(section, "moisture")
    plan = FuelPlan(
        mass_g=_uncertain(section, "mass_g"),
        moisture_wet=moisture,
        lhv_dry_j_g=_lhv_dry(section, moisture),
        char_lhv_j_g=_uncertain(section, "char_lhv_j_g"),
        starter_g=_uncertain(section, "starter_g"),
        starter_lhv_j_g=_uncertain(section, "starter_lhv_j_g"),
        lot=section.text("lot"),
        kindling_g=_uncertain(section, "kindling_g"),
        kindling_moisture_wet=_moisture(section, "kindling_moisture"),
        ash_fraction=_uncertain(section, "ash_fraction"),
        char_left_g=_uncertain(section, "char_left_g"),
        unburnt_g=_uncertain(section, "unburnt_g"),
        char_snuffed_s=_uncertain(section, "char_snuffed_s"),
    )
    section.close()
    return plan


def _lhv_dry(section: Section, moisture: UFloat | None) -> UFloat | None:
    dry = _uncertain(section, "lhv_dry_j_g")
    gross = _uncertain(section, "hhv_dry_j_g")
    hydrogen = _uncertain(section, "hydrogen_fraction")
    as_fired = _uncertain(section, "lhv_as_fired_j_g")
    given = [key for key in ("lhv_dry_j_g", "hhv_dry_j_g", "lhv_as_fired_j_g") if key in section]
    if len(given) > 1:
        section.complain(given[1], f"{' and '.join(given)} say the same thing: keep one")
    if "hydrogen_fraction" in section and "hhv_dry_j_g" not in section:
        section.complain("hydrogen_fraction", "hydrogen_fraction is only used with hhv_dry_j_g")
    if gross is not None:
        if hydrogen is None:
            hydrogen = fuels.default_hydrogen_fraction()
        return fuels.lhv_dry_from_hhv(gross, hydrogen)
    if as_fired is not None:
        if moisture is None:
            section.complain("lhv_as_fired_j_g", "lhv_as_fired_j_g needs the fuel's moisture_wet (or moisture_dry)")
            return None
        return fuels.lhv_dry_from_as_fired(as_fired, moisture)
    return dry


def _moisture(section: Section, name: str) -> UFloat | None:
    wet, dry = _uncertain(section, f"{name}_wet"), _uncertain(section, f"{name}_dry")
    if f"{name}_wet" in section and f"{name}_dry" in section:
        section.complain(f"{name}_dry", f"{name}_wet and {name}_dry say the same thing: keep one")
    return wet if dry is None else fuels.wet_from_dry(dry)


def _pot(section: Section | None) -> PotPlan | None:
    if section is None:
        return None
    tare = _uncertain(section, "tare_g")
    every = _visit(section, VisitPlan())
    visits = []
    for entry in section.sections("visit"):
        visits.append(_visit(entry, every))
        entry.close()
    plan = PotPlan(
        tare_g=tare,
        lid=section.flag("lid") or False,
        lid_g=_uncertain(section, "lid_g"),
        heat_capacity_j_k=_pot_heat_capacity(section, tare),
        water_start_c=_uncertain(section, "water_start_c"),
        every=every,
        visits=tuple(visits),
    )
    section.close()
    return plan


def _pot_heat_capacity(section: Section, tare: UFloat | None) -> UFloat | None:
    given = _uncertain(section, "heat_capacity_j_k")
    material = section.choice("material", fuels.POT_HEAT_CAPACITY_J_GK)
    if given is not None and "material" in section:
        section.complain("material", "heat_capacity_j_k and material say the same thing: keep one")
    if given is not None or material is None:
        return given
    if tare is None:
        section.complain("material", "material needs tare_g, the weight of the empty pot")
        return None
    return tare * fuels.pot_heat_capacity_j_gk(material)


def _visit(section: Section, otherwise: VisitPlan) -> VisitPlan:
    water = _uncertain(section, "water_g")
    final = _uncertain(section, "final_water_g")
    delay = _uncertain(section, "final_water_delay_s")
    visit = VisitPlan(
        otherwise.water_g if water is None else water,
        otherwise.final_water_g if final is None else final,
        otherwise.final_water_delay_s if delay is None else delay,
    )
    before, after = visit.water_g, visit.final_water_g
    own = next((key for key in ("final_water_g", "water_g") if key in section), None)
    if own is not None and before is not None and after is not None and _clearly_more(after, before):
        section.complain(own, f"{after.n:g} g of water left of {before.n:g} g: was the pot's tare_g not taken off?")
    return visit


def _clearly_more(after: UFloat, before: UFloat) -> bool:
    """Tell whether a later weight is more than an earlier one by more than both balances may be wrong.

    Of a pot that gave off nothing, the two readings may as well come out a gram one way as the other.
    """
    return bool(after.n - before.n > CLEARLY * math.hypot(after.s, before.s))


def _place(section: Section | None) -> Place:
    if section is None:
        return Place()
    place = Place(
        altitude_m=_uncertain(section, "altitude_m"),
        pressure_pa=_uncertain(section, "pressure_pa"),
        ambient_c=_uncertain(section, "ambient_c"),
    )
    section.close()
    return place


def _refuel(section: Section) -> RefuelPlan:
    plan = RefuelPlan(_uncertain(section, "mass_g"), _moisture(section, "moisture"), section.text("lot"))
    section.close()
    return plan


def _load_cell(section: Section | None) -> LoadCellPlan:
    if section is None:
        return LoadCellPlan()
    plan = LoadCellPlan(*(_uncertain(section, key) for key in LOAD_CELL_KEYS))
    section.close()
    for key, shown in (("shown_g", plan.shown_g), ("shown_after_g", plan.shown_after_g)):
        if shown is None:
            continue
        if plan.known_g is None:
            section.complain(key, f"{key} needs known_g, the known mass of which it was shown")
        elif abs(shown.n - plan.known_g.n) > SPAN_BEYOND_USE * plan.known_g.n:
            section.complain(
                key,
                f"{key} = {shown.n:g} g for a known mass of {plan.known_g.n:g} g: calibrate the load cell anew, or see "
                "that nothing touches it",
            )
    if (plan.zero_drift_g is None) != (plan.zero_drift_s is None):
        key = "zero_drift_g" if plan.zero_drift_s is None else "zero_drift_s"
        section.complain(key, "zero_drift_g and zero_drift_s belong together: how far the zero moved, and in what time")
    return plan


def _check_remains(reading: Reading, plan: Plan) -> None:
    fuel = plan.fuel
    if fuel.mass_g is None:
        return
    put_in = sum(
        part.n for part in (fuel.mass_g, fuel.kindling_g, *(r.mass_g for r in plan.refuels)) if part is not None
    )
    for key, remains in (("char_left_g", fuel.char_left_g), ("unburnt_g", fuel.unburnt_g)):
        if remains is not None and remains.n > put_in:
            reading.problem(
                ("fuel", key),
                f"{key} = {remains.n:g} g is more than the {put_in:g} g put in: was the tray's weight kept?",
            )


def _uncertain(section: Section, key: str) -> UFloat | None:
    return section.uncertain(key, QUANTITIES[key])
