"""What a fuzzer of the C codec begins with: every golden frame and body, each with the way in which it is taken in."""

import json
from pathlib import Path

VECTORS = Path(__file__).parents[3] / "firmware_protocol" / "vectors"
AS_BODY, AS_HOST, AS_DEVICE = b"\0", b"\1", b"\2"
"""First byte of an input: one body, or bytes of a line in a host's buffer, or in a device's."""


def examples() -> list[bytes]:
    """Return sound and malformed examples."""
    found: list[bytes] = []
    for name in ("frames", "unusual", "malformed", "bodies"):
        for vector in json.loads((VECTORS / f"{name}.json").read_text())["frames"]:
            frame = bytes.fromhex(vector["frame"])
            found.append(AS_HOST + frame)
            if "body" in vector:
                found.append(AS_BODY + bytes.fromhex(vector["body"]))
            if vector.get("direction") == "host":
                found.append(AS_DEVICE + frame)
    return found
