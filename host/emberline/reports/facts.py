"""What a plan says about a burn, in words for its summary."""

from collections.abc import Iterator

from emberline.bench.plan import Plan
from emberline.reports.figures import plain, spoken


def facts(plan: Plan) -> list[tuple[str, list[str]]]:
    """Return what was burnt, in what pot and where, as terms with their statements; empty where it says nothing."""
    told = [
        ("Fuel", list(_fuel(plan))),
        ("Refuels", [_refuel(plan, index) for index in range(len(plan.refuels))]),
        ("Weighed afterwards", list(_remains(plan))),
        ("Pot", list(_pot(plan))),
        ("Place", list(_place(plan))),
        ("Load cell", list(_load_cell(plan))),
    ]
    return [(term, statements) for term, statements in told if statements]


def _fuel(plan: Plan) -> Iterator[str]:
    fuel = plan.fuel
    if fuel.mass_g is not None:
        yield f"{plain(fuel.mass_g, 'g')} as weighed"
    if fuel.moisture_wet is not None:
        yield f"moisture {plain(fuel.moisture_wet, '')} (wet basis)"
    if fuel.lhv_dry_j_g is not None:
        yield f"heating value {plain(fuel.lhv_dry_j_g, 'J/g')} (net, dry)"
    if fuel.char_lhv_j_g is not None:
        yield f"its char {plain(fuel.char_lhv_j_g, 'J/g')}"
    if fuel.ash_fraction is not None:
        yield f"ash {plain(fuel.ash_fraction, '')} (dry basis)"
    if fuel.kindling_g is not None:
        yield f"kindling {plain(fuel.kindling_g, 'g')}"
    if fuel.starter_g is not None:
        yield f"starter {plain(fuel.starter_g, 'g')}"
    if fuel.lot is not None:
        yield f"lot {fuel.lot}"


def _refuel(plan: Plan, index: int) -> str:
    refuel = plan.refuels[index]
    mass = "not weighed" if refuel.mass_g is None else plain(refuel.mass_g, "g")
    moisture = "" if refuel.moisture_wet is None else f", moisture {plain(refuel.moisture_wet, '')}"
    lot = "" if refuel.lot is None else f", lot {refuel.lot}"
    return f"{mass}{moisture}{lot}"


def _remains(plan: Plan) -> Iterator[str]:
    fuel = plan.fuel
    if fuel.char_left_g is not None:
        snuffed = "" if fuel.char_snuffed_s is None else f", smothered {spoken(fuel.char_snuffed_s.n)} after flameout"
        yield f"char {plain(fuel.char_left_g, 'g')}{snuffed}"
    if fuel.unburnt_g is not None:
        yield f"unburnt fuel {plain(fuel.unburnt_g, 'g')}"


def _pot(plan: Plan) -> Iterator[str]:
    pot = plan.pot
    if pot is None:
        return
    if pot.tare_g is not None:
        yield f"empty {plain(pot.tare_g, 'g')}"
    for index, visit in enumerate(pot.visits or (pot.every,), 1):
        which = f"visit {index}: " if len(pot.visits) > 1 else ""
        if visit.water_g is not None:
            left = "" if visit.final_water_g is None else f", left {plain(visit.final_water_g, 'g')}"
            yield f"{which}water {plain(visit.water_g, 'g')}{left}"
    yield "with lid" if pot.lid else "without lid"


def _place(plan: Plan) -> Iterator[str]:
    place = plan.place
    if place.altitude_m is not None:
        yield f"altitude {plain(place.altitude_m, 'm')}"
    if place.pressure_pa is not None:
        yield f"air pressure {plain(place.pressure_pa / 100.0, 'hPa')}"
    if place.ambient_c is not None:
        yield f"air {plain(place.ambient_c, '°C')}"


def _load_cell(plan: Plan) -> Iterator[str]:
    cell = plan.load_cell
    for shown, when in ((cell.shown_g, "before"), (cell.shown_after_g, "after")):
        if cell.known_g is not None and shown is not None:
            yield f"{plain(cell.known_g, 'g')} shown as {plain(shown, 'g')} {when} the burn"
    if cell.zero_drift_g is not None and cell.zero_drift_s is not None:
        yield f"its zero moved by {plain(cell.zero_drift_g, 'g')} in {spoken(cell.zero_drift_s.n)}"
