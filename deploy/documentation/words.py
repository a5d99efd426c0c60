"""Describes what other programs meet: results, roles, alarms, limits, metrics, and the summary."""

import json
from collections.abc import Iterator
from importlib.resources import files
from types import SimpleNamespace
from typing import Any, cast

from documentation.keys import meanings
from documentation.tables import code, table
from emberline.bench.channels import UNITS, Role
from emberline.bench.co_limits import CO_LIMITS
from emberline.heat.results import RESULT_UNITS
from emberline.reports.wording import RESULTS
from emberline.service.bench_health import BenchHealth
from emberline.service.delivery.courier import Courier
from emberline.service.forwarding.forwarder import Forwarder
from emberline.service.health import Disk, Health
from emberline.service.metrics import BenchFigures, Figures, Metrics
from emberline.store.export import column_name
from emberline.trials.alarms import AlarmKind
from emberline.trials.alarms.alarm import OF_THE_BENCH, TITLES
from emberline.trials.live_document import Recording


def results() -> str:
    """Return every result with its title, unit and definition."""
    said = meanings("### Summary JSON")
    units = {"": "fraction", "1": "ratio"}
    rows = [
        [code(name), RESULTS[name].title, units.get(unit, unit), said["", name]] for name, unit in RESULT_UNITS.items()
    ]
    return table(["name", "on a page", "unit", "definition"], rows)


def roles() -> str:
    """Return the roles of channels with the names of their columns."""
    units = {"c": "°C", "pa": "Pa"}
    rows = [[code(role), units.get(UNITS[role], UNITS[role]), code(column_name(role))] for role in Role]
    return table(["role", "unit", "column of an export"], rows)


def alarms() -> str:
    """Return every alarm, and whether it needs a burn."""
    rows = [
        [code(kind), TITLES[kind], "the bench, always" if kind in OF_THE_BENCH else "a burn's record"]
        for kind in AlarmKind
    ]
    return table(["kind", "what is told", "judged from"], rows)


def co_limits() -> str:
    """Return the limits of carbon monoxide with their sources."""
    rows = [
        [code(limit.name), limit.title, f"{limit.ppm:.4g} ppm", _period(limit.period_s), limit.source]
        for limit in CO_LIMITS.values()
    ]
    return table(["name", "limit", "value", "as a mean over", "source"], rows)


def _period(seconds: int) -> str:
    if seconds == 0:
        return "no time: at every moment"
    return f"{seconds // 3600} h" if seconds >= 3600 else f"{seconds // 60} min"


def metrics() -> str:
    """Return every figure that a monitoring server is told, as a daemon with one bench tells them."""
    bench = BenchHealth("yard", Recording.RECORDING, 0, "", "", None, None, 0, 0, 0)
    forwarder = SimpleNamespace(behind=0, oldest_ns=None, failed_ns=None, taken=0, refused=0, failures=0)
    courier = SimpleNamespace(way=SimpleNamespace(name="command"), delivered=0, failed=0)
    figures = Figures(
        Health(0, (bench,), disk=Disk(free_bytes=0)),
        "",
        {"yard": BenchFigures(held=0, discarded=0, commits=0)},
        commit_s=0.0,
        lag_s=0.0,
        tasks=0,
        forwarding=cast(Forwarder, forwarder),
        couriers=[cast(Courier, courier)],
    )
    rows = []
    for family in Metrics(lambda: figures).collect():
        suffix = "_total" if family.type == "counter" else ""
        labels = {name for sample in family.samples for name in sample.labels}
        told = ", ".join(code(label) for label in sorted(labels - {family.name}))
        rows.append([code(family.name + suffix), told, family.documentation])
    return table(["name", "labels", "meaning"], rows)


def summary() -> str:
    """Return the keys of the summary, as its JSON Schema has them."""
    schema = json.loads(files("emberline.trials").joinpath("summary.schema.json").read_text(encoding="utf-8"))
    parts = [table(["key", "type", "meaning"], _properties(schema, schema))]
    for name, definition in schema["$defs"].items():
        if "properties" in definition:
            parts += [
                f"### A {name.replace('_', ' ')}\n",
                table(["key", "type", "meaning"], _properties(definition, schema)),
            ]
    return "\n".join(parts)


def _properties(definition: dict[str, Any], schema: dict[str, Any], before: str = "") -> Iterator[list[str]]:
    for name, found in definition["properties"].items():
        yield [code(f"{before}{name}"), _type(found, schema), found.get("description", "")]
        for inner in (found, found.get("items", {}), *found.get("anyOf", ())):
            if "properties" in inner:
                yield from _properties(inner, schema, f"{before}{name}.")


def _type(found: dict[str, Any], schema: dict[str, Any]) -> str:
    """Return in words what a key holds; a definition of several keys by its heading."""
    match found:
        case {"const": constant}:
            return code(json.dumps(constant))
        case {"enum": words}:
            return ", ".join(code(word) if word else "nothing" for word in words)
        case {"$ref": reference}:
            name = str(reference).rpartition("/")[2]
            definition = schema["$defs"][name]
            if "properties" in definition:
                return f"[{name}](#a-{name.replace('_', '-')})"
            return "a result's name" if name == "result_name" else _type(definition, schema)
        case {"anyOf": several}:
            return " or ".join(_type(one, schema) for one in several)
        case {"type": "array", "items": items}:
            return f"list of {_type(items, schema)}"
        case {"type": "object", "additionalProperties": dict(inner)}:
            return f"table of {_type(inner, schema)}"
        case {"type": list(kinds)}:
            return " or ".join(str(kind) for kind in kinds)
        case _:
            return str(found.get("type", ""))
