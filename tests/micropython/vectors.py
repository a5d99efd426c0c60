"""Writes and reads golden vectors on MicroPython: one line of JSON for each."""

import binascii
import json
import sys

import wire_cbor
import wire_messages


def write(kind: str, fields: dict) -> bytes:
    """Return the body of a device's message, from its fields."""
    if kind == "Hello":
        table = [
            wire_messages.channel(
                one["id"], one["name"], one["kind"], one["period_us"], one["scale"], one["zero"], one["serves"]
            )
            for one in fields["channels"]
        ]
        return wire_messages.hello(
            fields["boot"],
            fields["device"],
            fields["firmware"],
            table,
            fields["ticks"],
            fields["frame_period_ms"],
            fields["ring_ms"],
        )
    if kind == "Samples":
        arrays = {name: fields[name] and binascii.unhexlify(fields[name]) for name in ("offsets", "values", "faults")}
        return wire_messages.samples(
            fields["boot"],
            fields["stream"],
            fields["first_seq"],
            fields["ticks"],
            arrays["offsets"],
            fields["period_us"],
            fields["tag"],
            arrays["values"],
            fields["oldest_seq"],
            arrays["faults"],
        )
    if kind == "Status":
        names = ("boot", "ticks", "flags", "rejected", "lost", "waiting")
        return wire_messages.status(*[fields[name] for name in names])
    return wire_messages.pong(fields["boot"], fields["time_ns"], fields["ticks"])


def read(packet: bytes) -> dict:
    """Return what a device makes of a packet."""
    try:
        name, fields = wire_messages.read_command(wire_messages.unseal(packet))
    except wire_cbor.WireError as refused:
        return {"error": refused.args[0]}
    return {"message": name, "fields": fields}


def again(body: bytes) -> dict:
    """Return what comes of any body that is read as CBOR and written again."""
    try:
        return {"body": binascii.hexlify(wire_cbor.encode(wire_cbor.decode(body))).decode()}
    except wire_cbor.WireError as refused:
        return {"error": refused.args[0]}


def answer(do: str, *what) -> dict:
    """Return what comes of one request."""
    if do == "write":
        return {"packet": binascii.hexlify(wire_messages.seal(write(*what))).decode()}
    return read(binascii.unhexlify(what[0])) if do == "read" else again(binascii.unhexlify(what[0]))


with open("/data.json") as file:  # noqa: PTH123 a board has no pathlib
    for request in json.load(file):
        sys.stdout.write(json.dumps(answer(*request)) + "\n")
