"""Which column of a recorded table is what: as a person says, or guessed from the names."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from emberline.bench.channels import UNITS, Role
from emberline.links.errors import RecordingError

TIME_KEY = "t_s"
KEYS = (TIME_KEY, *(role.value for role in Role))
"""What a column can be: the time, or a role."""

WORD = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+|°|℃")

_TIME_WORDS = ("time", "timestamp", "datetime", "elapsed", "epoch", "seconds", "sec", "millis", "date", "t")
_MASS_WORDS = frozenset({"mass", "weight", "load", "scale", "balance"})
_TEMPERATURE_WORDS = frozenset({"temp", "temperature", "c", "f", "t", "degc", "celsius", "probe", "thermocouple", "°"})
_NOT_A_READING = frozenset({"u", "sd", "std", "min", "max", "raw", "set", "setpoint", "error", "status"})


@dataclass(frozen=True, slots=True)
class _Telling:
    """By which words a column's name tells a role: one of each set that it needs, and none that it never has."""

    needs: Sequence[frozenset[str]]
    never: frozenset[str] = frozenset()


_TELLING: Mapping[Role, _Telling] = {
    Role.WATER: _Telling((_TEMPERATURE_WORDS, frozenset({"water", "pot"})), _MASS_WORDS),
    Role.FLAME: _Telling((_TEMPERATURE_WORDS, frozenset({"flame", "fire"}))),
    Role.AMBIENT: _Telling((_TEMPERATURE_WORDS, frozenset({"ambient", "air", "room"}))),
    Role.MASS: _Telling((_MASS_WORDS,), frozenset({"pot", "fuel", "water", "loss", "rate"})),
    Role.POT_MASS: _Telling((_MASS_WORDS, frozenset({"pot"}))),
    Role.CELL_TEMPERATURE: _Telling((_TEMPERATURE_WORDS, frozenset({"cell"}))),
    Role.PRESSURE: _Telling((frozenset({"pressure"}),)),
    Role.CO: _Telling((frozenset({"co"}),), frozenset({"2"})),
}


def words_of(name: str) -> frozenset[str]:
    """Return the lower-case words of a column's name: `Water temp (°C)` has `water`, `temp`, `°` and `c`."""
    return frozenset(word.lower() for word in WORD.findall(name))


@dataclass(frozen=True, slots=True)
class Unit:
    """How values of a foreign unit become those of ours: value * factor + offset."""

    name: str
    factor: float
    offset: float


_UNITS: Mapping[str, Sequence[tuple[frozenset[str], Unit]]] = {
    "g": (
        (frozenset({"kg"}), Unit("kg", 1000.0, 0.0)),
        (frozenset({"lb", "lbs"}), Unit("lb", 453.59237, 0.0)),
        (frozenset({"oz"}), Unit("oz", 28.349523125, 0.0)),
    ),
    "c": (
        (frozenset({"f", "degf", "fahrenheit"}), Unit("°F", 5.0 / 9.0, -160.0 / 9.0)),
        (frozenset({"kelvin"}), Unit("K", 1.0, -273.15)),
    ),
    "pa": (
        (frozenset({"hpa", "mbar"}), Unit("hPa", 100.0, 0.0)),
        (frozenset({"kpa"}), Unit("kPa", 1000.0, 0.0)),
    ),
    "ppm": (),
}
"""The pound is exact by the international agreement of 1959; degrees Fahrenheit by definition (NIST SP 811, B.8)."""


def foreign_unit(role: Role, name: str) -> Unit | None:
    """Return the unit that a column's name states, if it is not the role's own."""
    words = words_of(name)
    return next((unit for names, unit in _UNITS[UNITS[role]] if words & names), None)


def chosen(header: Sequence[str], wanted: Mapping[str, str], width: int) -> dict[str, int]:
    """Return the place of each wanted column.

    Args:
        header: Names of the columns; empty where the file has none.
        wanted: Name of the column for `t_s` and for roles; or its number, from 1.
        width: Number of columns.

    Raises:
        RecordingError: A key is unknown, a column is missing, or too few are given.
    """
    for key in wanted:
        if key not in KEYS:
            near = get_close_matches(key, KEYS, 1)
            hint = f"; did you mean {near[0]}?" if near else ""
            raise RecordingError(f"a column can be {', '.join(KEYS)}, not {key!r}{hint}")
    places = {key: _place(header, name, width) for key, name in wanted.items()}
    if TIME_KEY not in places or not places.keys() & {Role.MASS.value, Role.WATER.value}:
        raise RecordingError("a burn needs a time and a mass or a water temperature: add --column t_s=... mass=...")
    return places


def _place(header: Sequence[str], name: str, width: int) -> int:
    plain = [cell.casefold() for cell in header]
    asked = name.strip().casefold()
    if plain.count(asked) > 1:
        raise RecordingError(f"two columns are called {name!r}: give the number of the one that counts, from 1")
    if asked in plain:
        return plain.index(asked)
    if asked.isdigit() and 1 <= int(asked) <= width:
        return int(asked) - 1
    near = get_close_matches(asked, plain, 1, 0.5)
    hint = f". Did you mean {header[plain.index(near[0])]!r}?" if near else ""
    columns = ", ".join(map(repr, header)) if header else f"no header, only columns 1 to {width}"
    raise RecordingError(f"there is no column {name!r}; the file has {columns}{hint}")


def guessed(header: Sequence[str]) -> dict[str, int]:
    """Return the place of each column whose name tells what it is; of several alike, the first.

    Raises:
        RecordingError: The names do not tell a time and a mass or a water temperature.
    """
    words = [words_of(name) for name in header]
    places: dict[str, int] = {}
    for word in _TIME_WORDS:
        for place, own in enumerate(words):
            # A lone t is a time, T_water is none.
            fits = own <= {"t", "s", "ms"} if word == "t" else not own & {"temp", "temperature", "c"}
            if word in own and fits and TIME_KEY not in places:
                places[TIME_KEY] = place
    for role in Role:
        for place, name in enumerate(header):
            if role.value not in places and place not in places.values() and tells(role, name, words[place]):
                places[role.value] = place
    if Role.WATER.value not in places:
        rest = [
            place
            for place, own in enumerate(words)
            if place not in places.values() and own & {"temp", "temperature"} and not own & _NOT_A_READING
        ]
        if len(rest) == 1:
            places[Role.WATER.value] = rest[0]
    if TIME_KEY not in places or not places.keys() & {Role.MASS.value, Role.WATER.value}:
        columns = ", ".join(repr(cell) for cell in header) or "without a header"
        raise RecordingError(
            f"the columns ({columns}) do not tell a time and a mass or a water temperature:"
            " say which they are, as --column t_s=NAME --column mass=NAME --column water=NAME"
        )
    return places


def tells(role: Role, name: str, words: frozenset[str]) -> bool:
    """Tell whether a column's name, of which these are the words, stands for a role."""
    if name.strip().casefold() in {role.value, f"{role.value}_{UNITS[role]}"}:
        return True
    if words & _NOT_A_READING:
        return False
    telling = _TELLING[role]
    return all(words & some for some in telling.needs) and not words & telling.never
