"""The commented bench file that a person starts from."""

from emberline.bench.bench_file import DEFAULT_BAUD, Bench, TrialRules, default_bench
from emberline.bench.channels import Channel, Role, assumed_sensor

TEMPLATE_ROLES = (Role.WATER, Role.FLAME, Role.MASS)
"""Channels of the bench in the template; a bench without one of them leaves its table out."""

_HEAD = """\
# A bench: one stove on one load cell, with its probes and one microcontroller.
# Lines that begin with # are remarks or examples. Every u_ is a standard uncertainty.
format = 1
id = "{id}"          # for files and topics: letters, digits, - and _
name = "{name}"        # for people
"""

_CHANNEL = """
[[channel]]
role = "{role}"
# source = "{role}"    # the device's name for it, where that differs
# Assumed: {sensor}.
u_bias = {u_bias}            # constant error within a trial, {unit}
u_scale = {u_scale}         # error of the span, relative
u_drift_per_hour = {u_drift_per_hour}   # {unit} per hour
resolution = {resolution}        # {unit}
"""

_LAG = """\
time_constant_s = {time_constant_s}    # the probe's lag; a 3 mm sheath has 1.5 s in water and 34 s in air
u_time_constant_s = {u_time_constant_s}
"""

_THERMOCOUPLE = """\
# Describe wire and converter, and u_bias and u_scale follow from them; leave those two out then:
# [channel.thermocouple]
# kind = "K"               # K, J, N or T
# class = 2                # tolerance class of the wire, 1 or 2 (IEC 60584-1)
# converter_error_c = 2.0  # plus or minus, from the converter's data sheet
# degrees_per_code = 0.25  # where the device does not say it
# flat_uv_k = 41.276       # only for a converter of constant slope
# correction_c = 1.4       # added to each reading, as found in ice or boiling water, with its uncertainty:
# u_correction_c = 0.3
"""

_POINTS = """\
# capacity_g = 5000.0        # what the cell can carry in all; an alarm says when it is nearly reached
# `emberline calibrate mass` calibrates with you, and holds in place of what stands here. Or by hand, with known masses:
# up, then back down; u_bias and u_scale follow from that; leave those two out then:
# [[channel.point]]
# load = 0.0               # grams
# counts = 84210
# [[channel.point]]
# load = 2000.0
# counts = 922310
# [[channel.point]]
# load = 1000.0            # a load in between shows the linearity, a repeated one the hysteresis
# counts = 503290
"""

_OTHERS = """
# More channels: role = {others}.

# [serial]
# port = "/dev/serial/by-id/..."   # or vendor_id = 0x2341 and product_id = 0x0043 to search for it
# baud = {baud}                     # bits a second, of the reference board; `emberline doctor` finds those of others
# device = "..."                   # only this device is accepted

# A device that prints lines of text has a table [serial.lines] here, and no `device`: a source is then the number of a
# value in the line, from 1, or its label. `emberline doctor --write FILE` writes such a file for you.

# [mqtt]                           # for a device behind a broker; beside [serial], the broker is only told what happens
# host = "localhost"
# user = "..."                     # with password_file = "..." or EMBERLINE_MQTT_PASSWORD in the environment
# ca_file = "ca.crt"               # encrypts; tls = true where the system knows the broker's authority

[trial]
end_after_flameout_min = {end_min}   # a trial ends by itself this long after flameout

[alarms]
flame_longest_min = {flame_min}    # a flame that burns longer is told
cell_hottest_c = {cell_c}        # of a channel of role cell_temperature
# co_limits = ["who-15min"]    # of a channel of role co: which hold, by default all; none where it stands in smoke:
#   {co_limits}
"""


def template_bench() -> Bench:
    """Return the bench that `bench_template` describes: the defaults."""
    return default_bench(TEMPLATE_ROLES)


def bench_template() -> str:
    """Return a commented bench file; as it stands it says what is assumed without one."""
    bench = template_bench()
    rules = bench.alarms
    others = ", ".join(f'"{role.value}"' for role in Role if role not in TEMPLATE_ROLES)
    return "".join(
        [
            _HEAD.format(id=bench.id, name=bench.name),
            *(_table(channel) for channel in bench.channels),
            _OTHERS.format(
                others=others,
                baud=DEFAULT_BAUD,
                end_min=TrialRules().end_after_flameout_s / 60.0,
                flame_min=rules.flame_longest_s / 60.0,
                cell_c=rules.cell_hottest_c,
                co_limits=", ".join(limit.name for limit in rules.co),
            ),
        ]
    )


def _table(channel: Channel) -> str:
    values = {
        "role": channel.role.value,
        "sensor": assumed_sensor(channel.role),
        "unit": "degrees" if channel.unit == "c" else "grams",
        "u_bias": channel.u_bias,
        "u_scale": channel.u_scale,
        "u_drift_per_hour": channel.u_drift_per_hour,
        "resolution": channel.resolution,
        "time_constant_s": channel.time_constant_s,
        "u_time_constant_s": channel.u_time_constant_s,
    }
    ending = _POINTS if channel.unit == "g" else _LAG
    if channel.role is Role.WATER:
        ending += _THERMOCOUPLE
    return (_CHANNEL + ending).format(**values)
