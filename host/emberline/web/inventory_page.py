"""Fuel lots, stoves and pots on a page: to list, add, change and retire what is used for one burn after another."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from emberline.bench.fuels import POT_HEAT_CAPACITY_J_GK
from emberline.bench.inventory import NUMBERS, WORDS, Entry, InventoryError, Kind
from emberline.bench.plan_quantities import QUANTITIES
from emberline.heat.result import COVERAGE_95
from emberline.service.daemon import Daemon
from emberline.service.errors import RequestError
from emberline.store.inventory import StoredEntry
from emberline.trials.guide.typed import GuideError, typed_numbers
from emberline.web.frame import REFUSED, done, page, refused, wants_json

TITLES = {Kind.LOT: "Fuel lots", Kind.STOVE: "Stoves", Kind.POT: "Pots"}
NEW = {Kind.LOT: "Add a fuel lot", Kind.STOVE: "Add a stove", Kind.POT: "Add a pot"}
LABELS = {
    "name": "Name",
    "fuel": "Kind of fuel",
    "moisture_wet": "Moisture, wet basis",
    "moisture_dry": "or dry basis, as pin meters show",
    "moisture_date": "Measured on",
    "moisture_method": "How",
    "lhv_dry_j_g": "Net heating value, dry",
    "hhv_dry_j_g": "or gross, dry",
    "hydrogen_fraction": "with hydrogen",
    "lhv_as_fired_j_g": "or net, as fired",
    "heating_value_source": "From where",
    "char_lhv_j_g": "Heating value of its char",
    "ash_fraction": "Ash, dry basis",
    "tare_g": "Empty",
    "lid_g": "Lid",
    "material": "Material",
    "heat_capacity_j_k": "or heat capacity",
    "remark": "Remark",
}
ORDER = {
    Kind.LOT: (
        "fuel",
        "moisture_wet",
        "moisture_dry",
        "moisture_date",
        "moisture_method",
        "lhv_dry_j_g",
        "hhv_dry_j_g",
        "hydrogen_fraction",
        "lhv_as_fired_j_g",
        "heating_value_source",
        "char_lhv_j_g",
        "ash_fraction",
        "remark",
    ),
    Kind.STOVE: ("tare_g", "remark"),
    Kind.POT: ("tare_g", "lid_g", "material", "heat_capacity_j_k", "remark"),
}
"""Fields in the order in which a person thinks of them."""
PERCENT = ("moisture_wet", "moisture_dry", "ash_fraction", "hydrogen_fraction")
"""Numbers that people say in percent."""


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form.

    Attributes:
        key: Its name.
        label: What it is called.
        unit: Unit; empty for words.
        value: What stands in it.
        kind: `number`, `text`, `date` or `material`.
        hint: What holds where it is left empty.
    """

    key: str
    label: str
    unit: str
    value: str
    kind: str
    hint: str = ""


def inventory_routes(daemon: Daemon) -> list[Route]:
    """Return the routes of the inventory."""
    pages = InventoryPages(daemon)
    return [Route("/inventory", pages.show), Route("/inventory", pages.change, methods=["POST"])]


class InventoryPages:
    """The inventory of a daemon's store."""

    def __init__(self, daemon: Daemon) -> None:
        """Serve a daemon's inventory."""
        self._daemon = daemon

    async def show(self, _: Request) -> Response:
        """Show everything that is kept."""
        return await self._shown({}, {})

    async def change(self, request: Request) -> Response:
        """Keep, retire or take up again what a form says."""
        form = {key: str(value) for key, value in (await request.form()).items()}
        try:
            kind = Kind(form.get("kind", ""))
        except ValueError:
            raise HTTPException(400, "That is neither a fuel lot, nor a stove, nor a pot.") from None
        inventory, name = self._daemon.inventory, form.get("was") or form.get("name", "").strip()
        try:
            if form.get("act") in ("retire", "again"):
                await inventory.retire(kind, name, retired=form["act"] == "retire")
                words = "is kept, and not offered any more" if form["act"] == "retire" else "is offered again"
                return done(request, "/inventory", f"{name} {words}.")
            entry = entry_of(kind, {**form, "name": name})
            await inventory.keep(kind, entry.text, new="was" not in form)
        except GuideError as error:
            return await self._refused(request, error.problems, form)
        except InventoryError as error:
            return await self._refused(request, _by_field(error, entry_text(kind, {**form, "name": name})), form)
        except RequestError as error:
            return await self._refused(request, {"name": str(error)}, form)
        return done(request, "/inventory", f"{name} is kept.")

    async def _refused(self, request: Request, problems: Mapping[str, str], form: Mapping[str, str]) -> Response:
        return refused(problems) if wants_json(request) else await self._shown(problems, form)

    async def _shown(self, problems: Mapping[str, str], typed: Mapping[str, str]) -> Response:
        listed = await self._daemon.inventory.listed()
        groups = [
            {
                "kind": kind.value,
                "title": TITLES[kind],
                "new": NEW[kind],
                "fields": fields_of(kind, None, typed if _is_new(typed, kind) else {}),
                "open": _is_new(typed, kind) and bool(problems),
                "entries": [
                    _row(entry, kept, typed if typed.get("was") == entry.name and typed.get("kind") == kind else {})
                    for entry, kept in listed
                    if entry.kind is kind
                ],
            }
            for kind in TITLES
        ]
        materials = list(POT_HEAT_CAPACITY_J_GK)
        return page(
            "inventory.html.j2",
            REFUSED if problems else 200,
            groups=groups,
            materials=materials,
            problems=problems,
            typed=typed,
        )


def entry_of(kind: Kind, form: Mapping[str, str]) -> Entry:
    """Return the entry that a form says; what is wrong with it as a whole is found when it is kept.

    Raises:
        GuideError: A field holds no such number.
    """
    keys = {key: key for key in NUMBERS[kind]}
    numbers: dict[str, float] = {}
    for key, (value, u) in typed_numbers(form, keys, dict.fromkeys(PERCENT, 0.01)).items():
        numbers[key] = value
        if u > 0.0:
            numbers[f"u_{key}"] = float(f"{u:.4g}")
    words = {key: form[key].strip() for key in WORDS[kind] if form.get(key, "").strip()}
    return Entry(kind, form.get("name", "").strip(), numbers, words, kind is Kind.POT and "lid" in form)


def entry_text(kind: Kind, form: Mapping[str, str]) -> str:
    """Return the text of the entry that a form says, by whose lines its problems are named."""
    return entry_of(kind, form).text


def fields_of(kind: Kind, entry: Entry | None, typed: Mapping[str, str]) -> list[Field]:
    """Return the fields of a form, filled from an entry or from what was typed."""
    return [_field(kind, key, entry, typed) for key in ORDER[kind]]


def _field(kind: Kind, key: str, entry: Entry | None, typed: Mapping[str, str]) -> Field:
    if key in WORDS[kind]:
        value = typed.get(key, "" if entry is None else entry.words.get(key, ""))
        shape = "material" if key == "material" else "date" if key == "moisture_date" else "text"
        return Field(key, LABELS[key], "", value, shape)
    quantity, percent = QUANTITIES[key], key in PERCENT
    factor = 100.0 if percent else 1.0
    shown = ""
    if entry is not None and key in entry.numbers:
        shown = f"{entry.numbers[key] * factor:.6g}"
        u = entry.numbers.get(f"u_{key}")
        shown += "" if u is None else f" ± {COVERAGE_95 * u * factor:.3g}"
    usual = quantity.u * factor
    hint = f"± {COVERAGE_95 * usual:.2g} is assumed" if usual else f"± {100 * COVERAGE_95 * quantity.u_relative:.2g} %"
    unit = "%" if percent else quantity.unit
    return Field(key, LABELS[key], unit, typed.get(key, shown), "number", hint if usual else f"{hint} is assumed")


def _row(entry: Entry, kept: StoredEntry, typed: Mapping[str, str]) -> dict[str, Any]:
    day = datetime.fromtimestamp(kept.entered_ns / 1e9).astimezone().date().isoformat()
    return {
        "name": entry.name,
        "lid": entry.lid,
        "retired": kept.retired,
        "since": day,
        "facts": facts_of(entry),
        "fields": fields_of(entry.kind, entry, typed),
        "open": bool(typed),
    }


def facts_of(entry: Entry) -> str:
    """Return what is known of an entry, in one line."""
    found = []
    for field in fields_of(entry.kind, entry, {}):
        if field.value and field.key != "remark":
            label = "" if field.key in ("fuel", "material", "tare_g") else f"{field.label.lower()} "
            found.append(f"{label}{field.value} {field.unit}".strip())
    if entry.lid:
        found.append("with a lid")
    return ", ".join(found)


def _is_new(typed: Mapping[str, str], kind: Kind) -> bool:
    return typed.get("kind") == kind.value and "was" not in typed


def _by_field(error: InventoryError, text: str) -> dict[str, str]:
    """Return what is wrong by field: each line of an entry's text is one."""
    lines = [line.partition("=")[0].strip() for line in text.splitlines()]
    found: dict[str, str] = {}
    for problem in error.problems:
        key = lines[problem.line - 1] if problem.line is not None and problem.line <= len(lines) else ""
        found[key.removeprefix("u_")] = problem.text
    return found
