import json
from dataclasses import replace

import pytest

from emberline.bench.bench_file import Bench, default_bench
from emberline.bench.calibration import Identity, Linear, ThermocoupleCode
from emberline.bench.channels import Calibrated, Role, Warmth
from emberline.bench.drift_fit import DriftFit
from emberline.bench.errors import CalibrationError
from emberline.bench.findings import (
    CellCheck,
    Finding,
    FindingKind,
    Found,
    corrected,
    found_document,
    kind_of,
    read_found,
    with_findings,
)
from emberline.bench.mass_fit import KnownLoad, fit_mass
from emberline.bench.probe_fit import BOILING, ICE, Bath, fit_probe

MADE_NS = 1_764_072_000_000_000_000
"""2025-11-25T12:00:00Z."""
MASS = fit_mass([KnownLoad(load, 0.03, 84_000.0 + 420.0 * load, 2.0) for load in (0.0, 1000.0, 500.0, 0.0)])
PROBE = fit_probe([Bath(ICE, 0.2, 0.05, 0.0, 0.06), Bath(BOILING, 98.4, 0.08, 99.6, 0.1)])
DRIFT = DriftFit(0.12, 0.01, 18.0, 12.0, 0.05, None, 0.3)
CHECK = CellCheck(1000.0, 0.1, 999.6, 0.2, False)


def finding(number: int, found: Found, channel: str = "mass") -> Finding:
    return Finding(number, "yard", channel, MADE_NS, "Ana", found)


def bench() -> Bench:
    return default_bench([Role.MASS, Role.WATER])


@pytest.mark.parametrize("found", [MASS, PROBE, DRIFT, CHECK])
def test_what_was_found_is_read_again_as_it_was(found: Found) -> None:
    text = json.dumps(found_document(found), allow_nan=False)
    assert read_found(kind_of(found), json.loads(text)) == found


@pytest.mark.parametrize(
    ("kind", "document"),
    [
        ("mass", {}),
        ("mass", {"loads": [1]}),
        ("drift", {"g_per_k": "much"}),
        ("drift", {"g_per_k": float("nan")}),
        ("colour", {}),
        ("probe", {"baths": 3}),
    ],
)
def test_what_is_no_finding_is_refused(kind: str, document: dict[str, object]) -> None:
    with pytest.raises(CalibrationError, match="this is no"):
        read_found(kind, document)


def test_a_line_without_slope_and_a_number_that_is_not_there_are_refused() -> None:
    for broken in ({"counts_per_g": 0.0}, {"zero_counts": None}, {"u_span": None}):
        with pytest.raises(CalibrationError, match="this is no mass calibration"):
            read_found("mass", {**found_document(MASS), **broken})


def test_a_mass_calibration_takes_the_place_of_line_and_uncertainties() -> None:
    mass = with_findings(bench(), [finding(3, MASS)]).channels[0]
    assert mass.calibration == Linear(MASS.zero_counts, MASS.counts_per_g)
    assert mass.u_scale > MASS.u_span
    assert mass.u_bias >= MASS.u_zero_g
    assert mass.calibrated == (Calibrated("mass", 3, "2025-11-25T12:00:00Z"),)


def test_the_newest_of_each_kind_holds_and_kinds_stand_beside_each_other() -> None:
    newer = replace(MASS, counts_per_g=421.0)
    found = with_findings(bench(), [finding(4, newer), finding(5, DRIFT), finding(2, MASS), finding(6, CHECK)])
    mass = found.channels[0]
    assert isinstance(mass.calibration, Linear)
    assert mass.calibration.counts_per_unit == 421.0
    assert mass.warmth == Warmth(0.12, 0.01, 0.3)
    assert [one.number for one in mass.calibrated] == [4, 5]
    again = with_findings(found, [finding(7, MASS)]).channels[0]
    assert [(one.kind, one.number) for one in again.calibrated] == [("drift", 5), ("mass", 7)]


def test_a_probe_is_corrected_whatever_turns_its_codes_into_degrees() -> None:
    assert corrected(Identity(), 1.5) == Linear(0.0, 1.0, correction=1.5)
    assert corrected(Linear(0.0, 4.0, correction=9.0), 1.5) == Linear(0.0, 4.0, correction=1.5)
    assert corrected(ThermocoupleCode("K", 0.25, correction_c=9.0), 1.5) == ThermocoupleCode(
        "K", 0.25, correction_c=1.5
    )
    assert corrected(Identity(), 0.0) == Identity()
    water = with_findings(bench(), [finding(1, PROBE, "water")]).channels[1]
    assert water.u_bias == PROBE.u_correction_c


def test_findings_of_a_channel_that_the_bench_has_not_are_passed_over() -> None:
    assert with_findings(bench(), [finding(1, MASS, "pot_mass")]) == bench()
    assert finding(1, MASS).kind is FindingKind.MASS
