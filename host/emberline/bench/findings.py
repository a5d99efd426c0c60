"""Findings: what a person's calibrations and checks of a bench found, as they are kept, and a bench with them applied.

A finding is never changed. Of each kind the newest of a channel holds; a check is kept and changes nothing.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from enum import StrEnum
from math import hypot, isfinite
from typing import Any

from emberline.bench.bench_file import U_SPAN_WARMTH, Bench
from emberline.bench.calibration import Calibration, Identity, Linear, ThermocoupleCode
from emberline.bench.channels import Calibrated, Channel, Warmth
from emberline.bench.drift_fit import DriftFit
from emberline.bench.errors import CalibrationError
from emberline.bench.mass_fit import KnownLoad, MassFit
from emberline.bench.probe_fit import Bath, ProbeFit


class FindingKind(StrEnum):
    """What was looked for."""

    MASS = "mass"
    PROBE = "probe"
    DRIFT = "drift"
    CHECK = "check"


@dataclass(frozen=True, slots=True)
class CellCheck:
    """A known mass laid on and taken off.

    Attributes:
        known_g: The mass.
        u_known_g: Its standard uncertainty.
        shown_g: What the load cell showed of it, the empty cell before and after taken off.
        u_shown_g: Standard uncertainty of that by the readings alone.
        in_doubt: Whether it differs by more than the calibration allows.
    """

    known_g: float
    u_known_g: float
    shown_g: float
    u_shown_g: float
    in_doubt: bool


Found = MassFit | ProbeFit | DriftFit | CellCheck


@dataclass(frozen=True, slots=True)
class Finding:
    """What one calibration or check found.

    Attributes:
        number: Its number in the store, growing.
        bench: Id of the bench.
        channel: Name of the channel.
        made_ns: When, UTC nanoseconds.
        who: Who did it.
        found: What was found.
    """

    number: int
    bench: str
    channel: str
    made_ns: int
    who: str
    found: Found

    @property
    def kind(self) -> FindingKind:
        """What was looked for."""
        return _KINDS[type(self.found)]

    @property
    def made(self) -> str:
        """When, ISO 8601 in UTC, to the second."""
        return f"{datetime.fromtimestamp(self.made_ns // 1_000_000_000, UTC):%Y-%m-%dT%H:%M:%SZ}"


def kind_of(found: Found) -> FindingKind:
    """Return what was looked for where something was found."""
    return _KINDS[type(found)]


def found_document(found: Found) -> dict[str, Any]:
    """Return what was found as plain JSON values."""
    return asdict(found)


def read_found(kind: str, document: Mapping[str, Any]) -> Found:
    """Return what was found from `found_document`.

    Raises:
        CalibrationError: The document holds something else.
    """
    try:
        return _READERS[FindingKind(kind)](document)
    except (KeyError, TypeError, ValueError) as error:
        raise CalibrationError(f"this is no {kind} calibration as this version keeps it: {error}") from error


def with_findings(bench: Bench, findings: Iterable[Finding]) -> Bench:
    """Return a bench with the newest finding of each kind in the place of what its channels said.

    Args:
        bench: The bench, its device's nominal calibrations in it.
        findings: Those of this bench; of channels that it does not have, they are passed over.
    """
    newest: dict[tuple[str, FindingKind], Finding] = {}
    for one in sorted(findings, key=lambda one: one.number):
        newest[one.channel, one.kind] = one
    channels = []
    for channel in bench.channels:
        for kind, put in _APPLIED.items():
            finding = newest.get((channel.name, kind))
            if finding is not None:
                others = tuple(one for one in channel.calibrated if one.kind != kind)
                mark = Calibrated(kind.value, finding.number, finding.made)
                channel = replace(put(channel, finding.found), calibrated=(*others, mark))
        channels.append(channel)
    return replace(bench, channels=tuple(channels))


def _with_mass(channel: Channel, found: Any) -> Channel:
    fit: MassFit = found
    return replace(
        channel,
        calibration=Linear(fit.zero_counts, fit.counts_per_g),
        u_bias=hypot(fit.u_zero_g, channel.resolution / 12.0**0.5),
        u_scale=hypot(fit.u_span, U_SPAN_WARMTH),
    )


def _with_probe(channel: Channel, found: Any) -> Channel:
    fit: ProbeFit = found
    return replace(channel, calibration=corrected(channel.calibration, fit.correction_c), u_bias=fit.u_correction_c)


def _with_drift(channel: Channel, found: Any) -> Channel:
    fit: DriftFit = found
    return replace(channel, warmth=Warmth(fit.g_per_k, fit.u_g_per_k, fit.u_drift_per_hour))


def corrected(calibration: Calibration, correction: float) -> Calibration:
    """Return a calibration that adds so much to each value, in place of what it may have added before."""
    if isinstance(calibration, ThermocoupleCode):
        return replace(calibration, correction_c=correction)
    if isinstance(calibration, Identity):
        return calibration if correction == 0.0 else Linear(0.0, 1.0, correction=correction)
    return replace(calibration, correction=correction)


def _read_mass(document: Mapping[str, Any]) -> MassFit:
    loads = tuple(KnownLoad(**_floats(one)) for one in document["loads"])
    fit = MassFit(**_floats(document, "loads"), loads=loads)
    Linear(fit.zero_counts, fit.counts_per_g)  # raises where that is no line
    return fit


def _read_probe(document: Mapping[str, Any]) -> ProbeFit:
    baths = tuple(Bath(bath=str(one["bath"]), **_floats(one, "bath")) for one in document["baths"])
    return ProbeFit(**_floats(document, "baths"), baths=baths)


def _read_check(document: Mapping[str, Any]) -> CellCheck:
    return CellCheck(**_floats(document, "in_doubt"), in_doubt=bool(document["in_doubt"]))


def _floats(document: Mapping[str, Any], *without: str) -> dict[str, Any]:
    if not isinstance(document, Mapping):
        raise TypeError(f"{document!r} is no table")
    found: dict[str, Any] = {}
    for key, value in document.items():
        if key not in without:
            found[key] = None if value is None and key in _MAY_BE_UNKNOWN else float(value)
            if found[key] is not None and not isfinite(found[key]):
                raise ValueError(f"{key} is not finite")
    return found


_MAY_BE_UNKNOWN = ("repeatability_g", "grows_c", "hysteresis_g")
_KINDS: Mapping[type, FindingKind] = {
    MassFit: FindingKind.MASS,
    ProbeFit: FindingKind.PROBE,
    DriftFit: FindingKind.DRIFT,
    CellCheck: FindingKind.CHECK,
}
_READERS: Mapping[FindingKind, Callable[[Mapping[str, Any]], Found]] = {
    FindingKind.MASS: _read_mass,
    FindingKind.PROBE: _read_probe,
    FindingKind.DRIFT: lambda document: DriftFit(**_floats(document)),
    FindingKind.CHECK: _read_check,
}
_APPLIED: Mapping[FindingKind, Callable[[Channel, Any], Channel]] = {
    FindingKind.MASS: _with_mass,
    FindingKind.PROBE: _with_probe,
    FindingKind.DRIFT: _with_drift,
}
