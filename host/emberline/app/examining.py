"""A board examined: found, listened to, judged, touched, and described in a bench file."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Self

from emberline.app.output import write_new
from emberline.bench.bench_file import SerialPort
from emberline.bench.bench_proposal import ProposedChannel, bench_id_of, proposal_text
from emberline.bench.calibration import Linear
from emberline.bench.channels import UNITS, Channel, Role
from emberline.config import ConfigError, load_bench
from emberline.curves.checkup.findings import Finding, findings_of
from emberline.curves.checkup.signal import Measured, Nature, Signal, measured
from emberline.curves.checkup.touch import Touched, touched
from emberline.links.columns import KEYS, tells, words_of
from emberline.links.errors import LinkError
from emberline.links.line_columns import ColumnMap, map_columns, signals_of
from emberline.links.listening import BAUDS, Listener
from emberline.links.ports import choose_port, find_port, lasting_name


@dataclass(frozen=True, slots=True, eq=False)
class Examined:
    """One channel of the board.

    Attributes:
        name: Name on the device, column or label.
        role: What it is taken for; None where nobody can tell.
        reason: Why.
        signal: What came.
        measured: What can be measured of it.
    """

    name: str
    role: Role | None
    reason: str
    signal: Signal
    measured: Measured


@dataclass(frozen=True, slots=True)
class Report:
    """What was found.

    Attributes:
        spoken: How the board speaks.
        channels: Its channels.
        findings: What looks wrong.
        remarks: What else a person should know.
    """

    spoken: str
    channels: tuple[Examined, ...]
    findings: tuple[Finding, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Board:
    """A board that is to be examined.

    Attributes:
        port: Where it is.
        why: Why it is this one.
        channels: What a bench file says of its channels.
    """

    port: SerialPort
    why: str
    channels: tuple[Channel, ...] = ()


def choose_board(port: str | None, bench_file: Path | None) -> Board:
    """Return the board that is meant.

    Raises:
        ConfigError: The bench file has problems, or names no port.
        LinkError: There is no such port, or it could be one of several.
    """
    if port is not None:
        path = find_port(SerialPort(port=str(Path(port).absolute())))
        return Board(SerialPort(port=lasting_name(path)), f"{port}, as you say")
    if bench_file is None:
        path, why = choose_port()
        return Board(SerialPort(port=path), why)
    bench = load_bench(bench_file)
    serial = bench.serial
    if serial is None:
        raise ConfigError(bench_file, f"{bench_file} names no serial port: name one with --port")
    path = find_port(serial)
    return Board(
        SerialPort(port=path, baud=serial.baud, lines=serial.lines),
        f"{path}, which {bench_file} names",
        bench.channels,
    )


class Examination:
    """A board on an open port."""

    def __init__(self, board: Board, columns: Mapping[str, str]) -> None:
        """Open the port.

        Args:
            board: The board.
            columns: What a person says of its channels, by role or `t_s`: column, label, or name on the device. Where
                nothing is said, the bench file's word holds.

        Raises:
            LinkError: It cannot be opened; the message says what to do.
        """
        for key in columns:
            if key not in KEYS:
                raise LinkError(f"a column can be {', '.join(KEYS)}, not {key!r}")
        self._port = board.port
        self._columns = columns or {channel.role.value: channel.source or channel.name for channel in board.channels}
        self._calibrations = {channel.role: channel.calibration for channel in board.channels}
        self._listener = Listener(board.port.port or "")
        self._map: ColumnMap | None = None
        self._roles: Mapping[str, Role] = {}
        self._examined: dict[str, Examined] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._listener.__exit__(kind, error, trace)

    def find_speech(self, baud: int | None, told: Callable[[str], None]) -> None:
        """Find out how the board speaks, at a speed that a person names or at all common ones.

        Raises:
            LinkError: Nobody is understood.
        """
        first = self._port.baud
        bauds = (baud,) if baud is not None else (first, *(one for one in BAUDS if one != first))
        self._listener.find_speech(bauds, told)

    def listen(self, seconds: float, told: Callable[[float], None] = lambda _: None) -> Report:
        """Listen for so long and return what was found.

        Raises:
            LinkError: The device is gone, or nothing of what comes can be used.
        """
        self._listener.hear(seconds, told)
        heard = self._listener.lines()
        remarks: list[str] = []
        if heard is None:
            hello = self._listener.hello
            assert hello is not None
            spoken = f"frames from {hello.device} (firmware {hello.firmware}), at {self._listener.baud:,} baud"
            roles, reasons = self._frame_roles(self._listener.signals())
        else:
            self._map = found = map_columns(heard, self._columns)
            spoken = f"lines of text, at {self._listener.baud:,} baud"
            roles, reasons = dict(found.roles), dict(found.reasons)
            remarks += _line_remarks(found, len(heard.lines), heard.set_aside, heard.example)
            units = {unit for values, _ in heard.lines for name, unit in values.units.items() if name in roles}
            foreign = sorted(units - {"°C", "g", "Pa", "ppm"})
            if foreign:
                remarks.append(f"Values are converted from {', '.join(foreign)}.")
        for baud in self._listener.tried:
            remarks.append(f"At {baud:,} baud what comes makes no sense: that is the wrong speed.")
        self._roles = roles
        self._examined = {
            name: Examined(name, roles.get(name), reasons.get(name, ""), signal, measured(signal))
            for name, signal in self._signals().items()
        }
        findings = [finding for one in self._examined.values() for finding in findings_of(one.signal)]
        return Report(spoken, tuple(self._examined.values()), tuple(findings), tuple(remarks))

    def touch(self, name: str, seconds: float, told: Callable[[float], None] = lambda _: None) -> Touched:
        """Listen while a person touches a channel that was listened to before, and tell how it answered.

        Raises:
            LinkError: The device is gone.
        """
        self._listener.forget()
        self._listener.hear(seconds, told)
        return touched(self._examined[name].signal, self._signals()[name])

    def proposal(self, name: str) -> str:
        """Return a bench file for a bench of that name, once it was listened to.

        Raises:
            LinkError: No channel has a role.
        """
        channels = [
            ProposedChannel(one.role, one.name, one.reason) for one in self._examined.values() if one.role is not None
        ]
        if not channels:
            raise LinkError("no channel's role could be told: say it, as --column water=NAME --column mass=NAME")
        hello = self._listener.hello
        port = SerialPort(
            port=self._port.port,
            device=None if hello is None else hello.device,
            baud=self._listener.baud,
            lines=None if self._map is None else self._map.lines,
        )
        return proposal_text(bench_id_of(name), port, channels, {} if self._map is None else self._map.reasons)

    def write_proposal(self, target: Path) -> None:
        """Write that bench file.

        Raises:
            LinkError: No channel has a role.
            OutputError: The file exists, or cannot be written.
        """
        write_new(target, self.proposal(target.stem))

    def _signals(self) -> dict[str, Signal]:
        heard = self._listener.lines()
        in_lines = None if heard is None or self._map is None else signals_of(heard, self._map)
        signals = self._listener.signals() if in_lines is None else in_lines
        return {name: self._calibrated(signal) for name, signal in signals.items()}

    def _calibrated(self, signal: Signal) -> Signal:
        """Return a signal with the calibration that a bench file gives its channel."""
        role = self._roles.get(signal.name)
        calibration = None if role is None else self._calibrations.get(role)
        if not isinstance(calibration, Linear):
            return signal
        return replace(signal, scale=1.0 / calibration.counts_per_unit, zero=calibration.zero_counts, coded=True)

    def _frame_roles(self, signals: Mapping[str, Signal]) -> tuple[dict[str, Role], dict[str, str]]:
        """Return the role of each channel of a board with frames: as a person says, by its name, by its sensor."""
        roles: dict[str, Role] = {}
        reasons: dict[str, str] = {}
        for key, name in self._columns.items():
            if name not in signals or key not in set(Role):
                raise LinkError(f"{key}={name} does not fit: the device has the channels {', '.join(signals)}")
            roles[name], reasons[name] = Role(key), "as you say"
        if roles:
            return roles, reasons
        for role in Role:
            for name, signal in signals.items():
                fits = UNITS[role] == signal.unit and (name == role.value or tells(role, name, words_of(name)))
                if fits and name not in roles and role not in roles.values():
                    roles[name], reasons[name] = role, f"it is called {name}"
        for name, signal in signals.items():
            kinds = {Nature.BRIDGE: (Role.MASS,), Nature.THERMOCOUPLE: (Role.WATER, Role.FLAME)}.get(signal.nature, ())
            free = [role for role in kinds if role not in roles.values()]
            if name not in roles and free:
                roles[name], reasons[name] = free[0], f"a guess: it is a {signal.nature.value}"
        return roles, reasons


def _line_remarks(found: ColumnMap, count: int, set_aside: int, example: bytes) -> list[str]:
    remarks = []
    if found.lines.time is None:
        remarks.append("The lines have no time: readings get that of their arrival. Better print millis() first.")
    else:
        unit = {"ms": "milliseconds", "us": "microseconds", "s": "seconds"}[found.lines.time_unit.value]
        where = found.lines.time if found.lines.columns is None else f"column {found.lines.time}"
        remarks.append(f"The board's own time is {where}, in {unit}.")
    remarks.append("Text has no checksum: a damaged digit can go unseen, and summaries say so.")
    if found.left:
        remarks.append(f"Nobody uses {', '.join(found.left)}.")
    if found.odd:
        remarks.append(f"{found.odd} of {count} lines have another shape than the others; they will be set aside.")
    if set_aside:
        shown = example[:60].decode("ascii", errors="replace")
        remarks.append(f"{set_aside} lines could not be read and will be set aside, such as {shown!r}.")
    return remarks
