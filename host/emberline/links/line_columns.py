"""What stands where in lines of text that nobody has described: by their names, else by their values, as a guess."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from emberline.bench.channels import UNITS, Role
from emberline.bench.text_lines import TextLines, TimeUnit
from emberline.curves.checkup.signal import Fault, Nature, Signal
from emberline.links.columns import KEYS, TIME_KEY, tells, words_of
from emberline.links.errors import LinkError
from emberline.links.text_line import Values, in_order

TIME_WORDS = frozenset({"time", "millis", "micros", "t", "ms", "us", "uptime", "elapsed", "timestamp", "seconds"})
TIME_OFF = 0.05
"""How far a time may be from the host's clock, relative: arrivals scatter within some seconds of lines."""
FEWEST_LINES = 3
ROOM_C = (5.0, 60.0)
"""Temperatures of probes before a fire is lit."""
COUNTS = 5_000.0
"""Whole numbers beyond this are counts of a converter: no small stove weighs that much in grams."""
COUNTED = "counts of a load cell"
_TEMPERATURES, _MASSES = frozenset({"°C", "°F", "K"}), frozenset({"g", "kg", "lb", "oz"})
_PER_S = {TimeUnit.MILLISECONDS: 1e3, TimeUnit.MICROSECONDS: 1e6, TimeUnit.SECONDS: 1.0}


@dataclass(frozen=True, slots=True)
class LinesHeard:
    """Lines of text that came from a port.

    Attributes:
        lines: Lines of values, each with its time of arrival in seconds.
        header: Names of the columns, if a line told them.
        set_aside: Lines that could not be read.
        example: One of these.
    """

    lines: Sequence[tuple[Values, float]]
    header: tuple[str, ...] = ()
    set_aside: int = 0
    example: bytes = b""


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """What stands where.

    Attributes:
        lines: As a bench file says it.
        roles: Role of each column or label that is a channel.
        reasons: Why it is taken for that; also why the time is.
        left: Columns or labels that nobody uses.
        odd: How many lines do not have the shape of the others.
    """

    lines: TextLines
    roles: Mapping[str, Role]
    reasons: Mapping[str, str]
    left: tuple[str, ...]
    odd: int


def map_columns(heard: LinesHeard, wanted: Mapping[str, str]) -> ColumnMap:
    """Return what stands where.

    Args:
        heard: The lines.
        wanted: What a person says: column, label or header's name by role or `t_s`. Roles that are given replace all
            that would be guessed.

    Raises:
        LinkError: Too few lines, or no channel in them, or a person names what is not there.
    """
    if len(heard.lines) < FEWEST_LINES:
        raise LinkError(f"only {len(heard.lines)} lines of values came: listen longer with --seconds")
    columns = Counter(values.columns for values, _ in heard.lines).most_common(1)[0][0]
    lines = [(values, at_s) for values, at_s in heard.lines if values.columns == columns]
    names = in_order(list(dict.fromkeys(name for values, _ in lines for name in values.numbers)))
    titles = dict(zip(names, names, strict=True))
    if columns is not None and len(heard.header) == columns:
        titles = {name: heard.header[int(name) - 1] for name in names}
    given = {key: _named(key, name, names, titles) for key, name in wanted.items()}
    time, unit, reasons = _time(lines, titles, given.get(TIME_KEY))
    roles = {given[role]: role for role in Role if role in given}
    reasons |= dict.fromkeys(roles, "as you say")
    if not roles:
        rest = [name for name in names if name != time]
        roles, why = _guessed(lines, rest, titles)
        reasons |= why
    if not roles:
        raise LinkError(
            f"nothing in the lines looks like a temperature or a mass (columns: {', '.join(names)}): say which is"
            " which, as --column water=2 --column mass=3"
        )
    roles = {name: roles[name] for name in names if name in roles}
    left = tuple(name for name in names if name not in roles and name != time)
    return ColumnMap(TextLines(tuple(roles), columns, time, unit), roles, reasons, left, len(heard.lines) - len(lines))


def signals_of(heard: LinesHeard, found: ColumnMap) -> dict[str, Signal]:
    """Return the signal of each channel, at the device's own times where lines have one."""
    signals = {}
    for name, role in found.roles.items():
        own = [(values, at_s) for values, at_s in heard.lines if name in values.numbers]
        time = found.lines.time
        if time is None:
            t_s = np.array([at_s for _, at_s in own])
        else:
            own = [(values, at_s) for values, at_s in own if np.isfinite(values.numbers.get(time, np.nan))]
            t_s = np.array([values.numbers[time] for values, _ in own]) / _PER_S[found.lines.time_unit]
        raw = np.array([values.numbers[name] for values, _ in own])
        good = np.concatenate(([True], np.diff(t_s) > 0.0)) if len(t_s) else np.zeros(0, dtype=np.bool_)
        t_s, raw = t_s[good], raw[good]
        unit = UNITS[role]
        coded = unit == "g" and _are_counts(raw)
        nature = {"g": Nature.BRIDGE, "c": Nature.THERMOCOUPLE}.get(unit, Nature.OTHER)
        faults = {Fault.UNKNOWN: int(np.isnan(raw).sum())}
        scale = float("nan") if coded else 1.0
        signals[name] = Signal(name, nature, t_s, raw, scale, 0.0, unit, coded, faults)
    return signals


def _named(key: str, name: str, names: Sequence[str], titles: Mapping[str, str]) -> str:
    if key not in KEYS:
        raise LinkError(f"a column can be {', '.join(KEYS)}, not {key!r}")
    found = [one for one in names if name.strip() in (one, titles[one])]
    if not found:
        listing = ", ".join(one if titles[one] == one else f"{one} ({titles[one]})" for one in names)
        raise LinkError(f"there is no {name!r} in the lines; they have {listing}")
    return found[0]


def _time(
    lines: Sequence[tuple[Values, float]], titles: Mapping[str, str], given: str | None
) -> tuple[str | None, TimeUnit, dict[str, str]]:
    """Return the column of the device's own time, what it counts, and why it is taken for that."""
    for name, title in titles.items():
        if given is not None and name != given:
            continue
        own = [(values.numbers[name], at_s) for values, at_s in lines if name in values.numbers]
        if len(own) < max(FEWEST_LINES, len(lines) // 2):
            continue
        time, at_s = np.array(own).T
        gone_s = float(at_s[-1] - at_s[0])
        if gone_s <= 0.0 or not np.all(np.diff(time) >= 0.0):
            continue
        pace = float(time[-1] - time[0]) / gone_s
        for unit, per_s in _PER_S.items():
            if abs(pace / per_s - 1.0) < TIME_OFF or (
                # Few lines: their name helps.
                words_of(title) & TIME_WORDS and abs(pace / per_s - 1.0) < 5.0 * TIME_OFF
            ):
                return name, unit, {name: f"grows by {pace:,.4g} a second"}
    if given is not None:
        raise LinkError(f"{given!r} does not grow like a time in milliseconds, microseconds or seconds")
    return None, TimeUnit.MILLISECONDS, {}


def _guessed(
    lines: Sequence[tuple[Values, float]], names: Sequence[str], titles: Mapping[str, str]
) -> tuple[dict[str, Role], dict[str, str]]:
    roles: dict[str, Role] = {}
    reasons: dict[str, str] = {}
    for role in Role:
        for name in names:
            title = titles[name]
            if name not in roles and role not in roles.values() and tells(role, title, words_of(title)):
                roles[name], reasons[name] = role, f"it is called {title}"
    # Beside columns that say what they are, only the two that a burn cannot do without are guessed.
    warm = (Role.WATER,) if roles else (Role.WATER, Role.FLAME, Role.AMBIENT)
    looks = {name: _look(lines, name) for name in names if name not in roles}
    for wanted, kind in ((warm, "a temperature"), ((Role.MASS,), COUNTED), ((Role.MASS,), "a mass")):
        for name, (look, middle) in looks.items():
            free = [role for role in wanted if role not in roles.values()]
            if look == kind and free:
                roles[name], reasons[name] = free[0], f"a guess: {middle:,.6g} looks like {kind}"
    return roles, reasons


def _look(lines: Sequence[tuple[Values, float]], name: str) -> tuple[str, float]:
    """Return what the values of a column look like before a fire is lit, and their middle."""
    raw = np.array([values.numbers[name] for values, _ in lines if name in values.numbers])
    good = raw[np.isfinite(raw)]
    if not len(good):
        return "", 0.0
    middle = float(np.median(good))
    units = {values.units[name] for values, _ in lines if name in values.units}
    if units & _TEMPERATURES:
        return "a temperature", middle
    if units & _MASSES:
        return "a mass", middle
    if _are_counts(good):
        return COUNTED, middle
    return "a temperature" if ROOM_C[0] <= middle <= ROOM_C[1] else "a mass", middle


def _are_counts(raw: Sequence[float] | np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> bool:
    """Tell whether numbers are counts of a converter, not grams."""
    good = np.asarray(raw)[np.isfinite(raw)]
    return bool(len(good)) and bool(np.all(good == np.rint(good))) and float(np.median(np.abs(good))) > COUNTS
