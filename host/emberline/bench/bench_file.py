"""The bench file: which channels a bench has, how they are calibrated, and where its device is found."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from math import hypot, sqrt

from emberline.bench import thermocouple
from emberline.bench.alarm_rules import AlarmRules, read_alarm_rules
from emberline.bench.calibration import BridgeFit, Linear, ThermocoupleCode, fitted
from emberline.bench.channels import Calibrated, Channel, Role, Warmth, default_channel
from emberline.bench.errors import BenchFileError as BenchFileError
from emberline.bench.errors import CalibrationError
from emberline.bench.text_lines import TextLines, read_text_lines
from emberline.bench.toml_reading import Hint, Quantity, Reading, Section

DEFAULT_BAUD = 57_600
"""Bits a second of a serial port whose bench file says nothing: those of the reference board."""

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}")
_ANY = Quantity(float("-inf"), float("inf"), "")
_NOT_NEGATIVE = Quantity(0.0, float("inf"), "")
_SCALE = Quantity(0.0, 0.5, "", hints=(Hint(0.5, 50.0, "a percentage? write 0.002 for 0.2 %"),))
_CAPACITY = Quantity(50.0, 1e6, "g", hints=(Hint(0.05, 50.0, "kilograms? write grams: 5000.0 for 5 kg"),))
_LAG = Quantity(0.0, 600.0, "s", hints=(Hint(600.0, 6e5, "milliseconds? this is in seconds"),))
_CONVERTER_ERROR_C = 2.0
U_SPAN_WARMTH = 0.0005 / sqrt(3.0)
"""A warm load cell's span changes by 0.05 % per 10 K (typical data sheet), which no cold calibration sees."""


@dataclass(frozen=True, slots=True)
class SerialPort:
    """Where the device of a bench is plugged in.

    Attributes:
        port: Path of the port; a name under /dev/serial/by-id stays the same after unplugging.
        vendor_id: USB vendor number, where the port is to be searched for.
        product_id: USB product number.
        serial_number: USB serial number, where several devices of one kind are plugged in.
        device: Id that the device must give in its hello; another device on the port is refused.
        baud: Bits a second.
        lines: What stands where in its lines of text; None for a device that sends frames.
    """

    port: str | None = None
    vendor_id: int | None = None
    product_id: int | None = None
    serial_number: str | None = None
    device: str | None = None
    baud: int = DEFAULT_BAUD
    lines: TextLines | None = None


@dataclass(frozen=True, slots=True)
class Broker:
    """The MQTT broker of a bench: where its device's readings come from, and what happens on it is told.

    Attributes:
        host: Name or address.
        port: TCP port; None for the registered one, 8883 with TLS and 1883 without.
        tls: Whether the connection is encrypted.
        ca_file: Certificate of the authority that vouches for the broker, where the system does not know it.
        certificate_file: Certificate by which this program names itself, with `key_file`.
        key_file: Its private key.
        user: Name of the account on the broker.
        password_file: File that holds the account's password, and nothing else.
        device: Id that the device must give in its hello; another device on the bench's topic is refused.
    """

    host: str
    port: int | None = None
    tls: bool = False
    ca_file: str | None = None
    certificate_file: str | None = None
    key_file: str | None = None
    user: str | None = None
    password_file: str | None = None
    device: str | None = None


@dataclass(frozen=True, slots=True)
class TrialRules:
    """When a trial ends by itself.

    Attributes:
        end_after_flameout_s: Time from flameout to the end of the char phase.
    """

    end_after_flameout_s: float = 1_800.0


@dataclass(frozen=True, slots=True)
class Bench:
    """One stove on one load cell with its probes and one microcontroller.

    Attributes:
        id: Short name for files and topics: letters, digits, hyphens, underscores.
        name: Name for people.
        channels: At most one of each role.
        serial: Its serial port, or None.
        broker: Its MQTT broker, or None.
        trial: When its trials end.
        alarms: When its alarms are raised.
    """

    id: str
    name: str
    channels: tuple[Channel, ...]
    serial: SerialPort | None = None
    trial: TrialRules = field(default_factory=TrialRules)
    broker: Broker | None = None
    alarms: AlarmRules = field(default_factory=AlarmRules)

    def by_role(self, role: Role) -> Channel | None:
        """Return the channel of a role, or None."""
        return next((channel for channel in self.channels if channel.role is role), None)

    def by_name(self, name: str) -> Channel | None:
        """Return the channel of a name, or None."""
        return next((channel for channel in self.channels if channel.name == name), None)


def default_bench(roles: Iterable[Role]) -> Bench:
    """Return the bench that is assumed where no bench file describes one, with a channel for each role."""
    return Bench("bench", "Bench", tuple(default_channel(role) for role in roles))


def parse_bench(text: str) -> Bench:
    """Read a bench from TOML.

    Raises:
        BenchFileError: listing everything wrong with the text.
    """
    reading = Reading(text)
    root = reading.root
    bench_id = root.text("id") or "bench"
    if not is_bench_id(bench_id):
        root.complain("id", f"id = {bench_id!r} may hold letters, digits, - and _ only, 64 at most")
    name = root.text("name") or bench_id.replace("-", " ").replace("_", " ").capitalize()
    channels = _channels(root)
    serial = _serial(root.section("serial"), channels)
    broker = _broker(root.section("mqtt"))
    trial = _trial(root.section("trial"))
    alarms = read_alarm_rules(root.section("alarms"))
    root.close()
    if reading.problems:
        raise BenchFileError(reading.problems)
    return Bench(bench_id, name, channels, serial, trial, broker, alarms)


def is_bench_id(text: str) -> bool:
    """Tell whether a text can be the id of a bench, and with it part of a topic and of a file's name."""
    return _ID.fullmatch(text) is not None


def _channels(root: Section) -> tuple[Channel, ...]:
    channels: list[Channel] = []
    sections = root.sections("channel")
    if not sections:
        root.complain("channel", 'a bench needs a [[channel]] at least, such as role = "water" or role = "mass"')
    for section in sections:
        channel = _channel(section)
        section.close()
        if channel is None:
            continue
        if any(other.role is channel.role for other in channels):
            section.complain(
                "role", f"role {channel.role.value} is taken already: a bench has one channel of each role"
            )
        elif any(other.name == channel.name for other in channels):
            section.complain("name", f"name {channel.name} is taken already: give each channel a name of its own")
        channels.append(channel)
    return tuple(channels)


def _channel(section: Section) -> Channel | None:
    word = section.choice("role", [role.value for role in Role])
    if "role" not in section:
        section.complain("role", f"a channel needs a role: one of {', '.join(Role)}")
    role = Role(word) if word is not None else Role.WATER
    channel = default_channel(role, section.text("name"))
    channel = replace(channel, source=section.text("source"))
    channel = _with_thermocouple(channel, section.section("thermocouple"))
    channel = _with_line(channel, section, section.section("line"), section.sections("point"))
    channel = _with_warmth(channel, section.section("warmth"))
    channel = replace(channel, calibrated=_marks(section.sections("calibration")))
    bias, scale = section.number("u_bias", _NOT_NEGATIVE), section.number("u_scale", _SCALE)
    drift, resolution = section.number("u_drift_per_hour", _NOT_NEGATIVE), section.number("resolution", _NOT_NEGATIVE)
    capacity_g = section.number("capacity_g", _CAPACITY)
    if capacity_g is not None and channel.unit != "g":
        section.complain("capacity_g", f"a channel of role {channel.role.value} weighs nothing")
    lag, u_lag = section.number("time_constant_s", _LAG), section.number("u_time_constant_s", _LAG)
    return (
        None
        if word is None
        else replace(
            channel,
            u_bias=channel.u_bias if bias is None else bias,
            u_scale=channel.u_scale if scale is None else scale,
            u_drift_per_hour=channel.u_drift_per_hour if drift is None else drift,
            resolution=channel.resolution if resolution is None else resolution,
            time_constant_s=channel.time_constant_s if lag is None else lag,
            u_time_constant_s=channel.u_time_constant_s if u_lag is None else u_lag,
            capacity_g=capacity_g,
        )
    )


def _with_thermocouple(channel: Channel, section: Section | None) -> Channel:
    if section is None:
        return channel
    kind = section.choice("kind", thermocouple.KINDS) or "K"
    klass = section.whole("class", Quantity(1, 2, "")) or 2
    converter = section.number("converter_error_c", Quantity(0.0, 20.0, "degC"))
    step = section.number("degrees_per_code", Quantity(1e-4, 10.0, "degC"))
    flat = section.number("flat_uv_k", Quantity(5.0, 100.0, "microvolts per kelvin"))
    correction = section.number("correction_c", Quantity(-15.0, 15.0, "degC"))
    u_correction = section.number("u_correction_c", Quantity(0.01, 5.0, "degC"))
    if (correction is None) != (u_correction is None):
        section.complain(
            "correction_c" if u_correction is None else "u_correction_c",
            "correction_c and u_correction_c belong together: how far off the probe was, and how sure that is",
        )
    section.close()
    if channel.unit != "c":
        section.complain("kind", f"a channel of role {channel.role.value} measures no temperature")
        return channel
    # The wire's tolerance grows from its fixed part with temperature; the fixed part holds at the boil.
    fixed_c, share = thermocouple.tolerance_parts(kind, klass)
    limit_c = hypot(fixed_c, _CONVERTER_ERROR_C if converter is None else converter)
    return replace(
        channel,
        calibration=ThermocoupleCode(kind, step, flat, correction or 0.0),
        u_bias=limit_c / sqrt(3.0) if u_correction is None else u_correction,
        u_scale=round(share / sqrt(3.0), 4),
    )


def _with_line(channel: Channel, parent: Section, line: Section | None, points: list[Section]) -> Channel:
    pairs: list[tuple[float, float]] = []
    for point in points:
        load, counts = point.number("load", _ANY), point.number("counts", _ANY)
        point.close()
        if load is None or counts is None:
            point.complain("load", "a [[channel.point]] needs load and counts")
        else:
            pairs.append((load, counts))
    if line is not None and points:
        parent.complain("point", "[channel.line] and [[channel.point]] say the same thing: keep one")
    try:
        if line is not None:
            zero, slope = line.number("zero_counts", _ANY), line.number("counts_per_unit", _ANY)
            correction = line.number("correction", _ANY) or 0.0
            line.close()
            if zero is not None and slope is not None:
                return replace(channel, calibration=Linear(zero, slope, correction=correction))
            line.complain("zero_counts", "[channel.line] needs zero_counts and counts_per_unit")
        elif len(pairs) == len(points) > 0:
            return _calibrated(channel, fitted(pairs))
    except CalibrationError as error:
        parent.complain("point" if points else "line", str(error))
    return channel


def _with_warmth(channel: Channel, section: Section | None) -> Channel:
    if section is None:
        return channel
    g_per_k = section.number("g_per_k", _ANY)
    u_g_per_k, u_drift = section.number("u_g_per_k", _NOT_NEGATIVE), section.number("u_drift_per_hour", _NOT_NEGATIVE)
    section.close()
    if channel.unit != "g":
        section.complain("g_per_k", f"a channel of role {channel.role.value} weighs nothing")
    elif g_per_k is None or u_g_per_k is None or u_drift is None:
        section.complain("g_per_k", "[channel.warmth] needs g_per_k, u_g_per_k and u_drift_per_hour")
    else:
        return replace(channel, warmth=Warmth(g_per_k, u_g_per_k, u_drift))
    return channel


def _marks(sections: list[Section]) -> tuple[Calibrated, ...]:
    """Read which of a person's calibrations are in a channel's numbers; a store writes that, nobody needs to."""
    marks = []
    for section in sections:
        kind, made = section.text("kind"), section.text("made")
        number = section.whole("number", _NOT_NEGATIVE)
        section.close()
        if kind is None or made is None or number is None:
            section.complain("kind", "a [[channel.calibration]] needs kind, number and made: leave it to the program")
        else:
            marks.append(Calibrated(kind, number, made))
    return tuple(marks)


def _calibrated(channel: Channel, fit: BridgeFit) -> Channel:
    channel = replace(channel, calibration=fit.calibration)
    if not fit.checked:
        return channel
    return replace(
        channel,
        u_bias=max(fit.linearity, fit.hysteresis / 2.0, channel.resolution) / sqrt(3.0),
        u_scale=hypot(fit.u_slope, U_SPAN_WARMTH),
    )


def _serial(section: Section | None, channels: Sequence[Channel]) -> SerialPort | None:
    if section is None:
        return None
    number = Quantity(0, 0xFFFF, "")
    lines = section.section("lines")
    serial = SerialPort(
        port=section.text("port"),
        vendor_id=section.whole("vendor_id", number),
        product_id=section.whole("product_id", number),
        serial_number=section.text("serial_number"),
        device=section.text("device"),
        baud=section.whole("baud", Quantity(1_200, 4_000_000, "bits a second")) or DEFAULT_BAUD,
        lines=None if lines is None else read_text_lines(lines, channels),
    )
    section.close()
    if serial.lines is not None and serial.device is not None:
        section.complain("device", "lines of text do not say which device they come from: leave device out")
    if serial.port is None and (serial.vendor_id is None or serial.product_id is None):
        section.complain("port", "[serial] needs port, or vendor_id and product_id to search for it")
    return serial


def _broker(section: Section | None) -> Broker | None:
    if section is None:
        return None
    host, tls = section.text("host"), section.flag("tls")
    ca_file = section.text("ca_file")
    certificate_file, key_file = section.text("certificate_file"), section.text("key_file")
    broker = Broker(
        host=host or "",
        port=section.whole("port", Quantity(1, 65_535, "")),
        tls=(ca_file or certificate_file) is not None if tls is None else tls,
        ca_file=ca_file,
        certificate_file=certificate_file,
        key_file=key_file,
        user=section.text("user"),
        password_file=section.text("password_file"),
        device=section.text("device"),
    )
    if "password" in section:
        section.complain("password", "a password does not belong here: put it into a file and name that: password_file")
        section.text("password")
    section.close()
    if host is None:
        section.complain("host", '[mqtt] needs host, such as host = "localhost"')
    if (certificate_file is None) != (key_file is None):
        section.complain("certificate_file", "certificate_file and key_file belong together")
    if not broker.tls and (ca_file or certificate_file):
        section.complain("tls", "tls = false leaves no use for ca_file and certificate_file: leave them out, or it")
    return broker


def _trial(section: Section | None) -> TrialRules:
    if section is None:
        return TrialRules()
    minutes = section.number("end_after_flameout_min", Quantity(1.0, 720.0, "min"))
    section.close()
    return TrialRules() if minutes is None else TrialRules(60.0 * minutes)
