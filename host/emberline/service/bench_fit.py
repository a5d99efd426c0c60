"""The bench as it is with the device that greeted: calibrations completed by the device's channel table."""

from collections.abc import Collection
from dataclasses import replace

from emberline.bench.alarm_rules import alarm_rules_text
from emberline.bench.bench_file import Bench, default_bench
from emberline.bench.calibration import Identity, Linear, ThermocoupleCode, for_calibrated_source, for_device
from emberline.bench.channels import UNITS, Channel, Role, default_channel
from emberline.bench.errors import CalibrationError
from emberline.bench.toml_writing import quoted
from emberline.links.arrivals import DeviceChannel, Greeting
from emberline.links.columns import tells, words_of
from emberline.service.errors import ServiceError


def device_names(bench: Bench | None) -> dict[str, str]:
    """Return the bench's channel names by the device's, where the two differ."""
    channels = () if bench is None else bench.channels
    return {channel.source: channel.name for channel in channels if channel.source is not None}


def fitted_bench(bench: Bench | None, greeting: Greeting) -> Bench:
    """Complete a bench with what the device says of its channels.

    Args:
        bench: The bench file's, or None: then roles are guessed from the names of the streams and their units.
        greeting: The device's greeting.

    Raises:
        ServiceError: A channel of the bench is not among the device's streams, or measures something else, or
            none of the device's streams can be used.
    """
    streams = {stream.name: stream for stream in greeting.channels if stream.serves is None}
    if bench is None:
        bench = replace(default_bench(()), channels=guessed_channels(streams.values()))
        if not bench.channels:
            names = ", ".join(sorted(streams))
            raise ServiceError(f"the device sends {names}: give each a role in a bench file (`emberline init`)")
    channels = tuple(_fitted(channel, streams, greeting.device) for channel in bench.channels)
    return replace(bench, channels=channels)


def guessed_channels(streams: Collection[DeviceChannel]) -> tuple[Channel, ...]:
    """Return the channels whose roles the streams' names tell, as a table's columns do; of several alike, the first."""
    taken: dict[str, Channel] = {}
    for role in Role:
        for stream in streams:
            # The unit says what a column's name has to say in words.
            words = words_of(stream.name) | {_QUANTITIES.get(stream.unit, "")}
            fits = stream.unit in ("", UNITS[role])
            if fits and stream.name not in taken and tells(role, stream.name, frozenset(words)):
                taken[stream.name] = default_channel(role, stream.name)
                break
    return tuple(taken[stream.name] for stream in streams if stream.name in taken)


_QUANTITIES = {"c": "temperature", "pa": "pressure"}


def _fitted(channel: Channel, streams: dict[str, DeviceChannel], device: str) -> Channel:
    name = channel.source or channel.name
    stream = streams.get(name)
    if stream is None:
        raise ServiceError(
            f"device {device} sends no {name}, but {', '.join(sorted(streams))}: correct `source` of channel "
            f"{channel.name} in the bench file, or leave the channel out"
        )
    if stream.unit != channel.unit and (stream.unit or stream.calibrated):
        raise ServiceError(f"channel {channel.name} is {channel.role.value}, but device {device} sends {stream.unit}")
    if not stream.unit:
        return channel
    if stream.calibrated:
        return replace(channel, calibration=for_calibrated_source(channel.calibration))
    try:
        calibration = for_device(channel.calibration, scale=stream.scale, zero=float(stream.zero), flat=stream.flat)
    except CalibrationError as error:
        raise ServiceError(f"channel {channel.name}: {error}") from error
    return replace(channel, calibration=calibration)


def bench_text(bench: Bench) -> str:
    """Write a bench as a bench file that says everything, so that its samples can be read years later.

    Reading it gives the same bench, whatever defaults a later version assumes.
    """
    lines = ["format = 1", f"id = {quoted(bench.id)}", f"name = {quoted(bench.name)}"]
    for channel in bench.channels:
        lines += ["", "[[channel]]", *_channel_lines(channel)]
    lines += ["", "[trial]", f"end_after_flameout_min = {bench.trial.end_after_flameout_s / 60.0!r}"]
    lines += ["", *alarm_rules_text(bench.alarms)]
    return "\n".join(lines) + "\n"


def _channel_lines(channel: Channel) -> list[str]:
    lines = [f"role = {quoted(channel.role.value)}", f"name = {quoted(channel.name)}"]
    if channel.source is not None:
        lines.append(f"source = {quoted(channel.source)}")
    keys = ("u_bias", "u_scale", "u_drift_per_hour", "resolution", "time_constant_s", "u_time_constant_s")
    lines += [f"{key} = {float(getattr(channel, key))!r}" for key in keys]
    if channel.capacity_g is not None:
        lines.append(f"capacity_g = {channel.capacity_g!r}")
    calibration = channel.calibration
    if isinstance(calibration, Linear):
        lines += [
            "[channel.line]",
            f"zero_counts = {calibration.zero_counts!r}",
            f"counts_per_unit = {calibration.counts_per_unit!r}",
        ]
        lines += [f"correction = {calibration.correction!r}"] if calibration.correction else []
    elif isinstance(calibration, ThermocoupleCode):
        lines += ["[channel.thermocouple]", *_thermocouple_lines(channel, calibration)]
    else:
        assert isinstance(calibration, Identity)
    return lines + _found_lines(channel)


def _found_lines(channel: Channel) -> list[str]:
    """Write what a person's calibrations found beside the line, and which of them these numbers are of."""
    lines: list[str] = []
    if channel.warmth is not None:
        keys = ("g_per_k", "u_g_per_k", "u_drift_per_hour")
        lines += ["[channel.warmth]", *(f"{key} = {float(getattr(channel.warmth, key))!r}" for key in keys)]
    for one in channel.calibrated:
        lines += ["[[channel.calibration]]", f"kind = {quoted(one.kind)}", f"number = {one.number}"]
        lines.append(f"made = {quoted(one.made)}")
    return lines


def _thermocouple_lines(channel: Channel, calibration: ThermocoupleCode) -> list[str]:
    lines = [f"kind = {quoted(calibration.kind)}"]
    if calibration.degrees_per_code is not None:
        lines.append(f"degrees_per_code = {calibration.degrees_per_code!r}")
    if calibration.flat_uv_k is not None:
        lines.append(f"flat_uv_k = {calibration.flat_uv_k!r}")
    if calibration.correction_c:
        # The bench file wants the two together; the channel's own u_bias, which it became, stands above.
        u_c = min(max(channel.u_bias, 0.01), 5.0)
        lines += [f"correction_c = {calibration.correction_c!r}", f"u_correction_c = {u_c!r}"]
    return lines
