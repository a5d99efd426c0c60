"""The final analysis of a burn of which everything is known."""

import json
from dataclasses import replace
from functools import cache
from importlib.resources import files

import jsonschema
import numpy as np
import pytest
from uncertainties import ufloat

from emberline.bench.channels import Role, default_channel
from emberline.bench.plan import empty_plan
from emberline.bench.samples import Curve
from emberline.curves.events import Event, EventKind, Retraction
from emberline.heat.results import RESULT_NAMES
from emberline.trials.analysis import Analysis, analyse
from emberline.trials.corrections import AddEvent, Correction
from emberline.trials.documents import document_json, summary_document
from emberline.trials.tracker import Tracked
from stove_fixture import Stove

STOVE = Stove(n=1300, flameout_s=950.0, pot_off_s=700.0, fuel_g=160.0)
DESCRIBED = {role: default_channel(role) for role in (Role.MASS, Role.WATER, Role.FLAME)}


@cache
def usual() -> Analysis:
    return analyse(STOVE.curves(), DESCRIBED, STOVE.plan(), trial="2026-11-25-1", bench="yard")


def said_nothing(curves: dict[Role, Curve]) -> Analysis:
    return analyse(curves, DESCRIBED, STOVE.plan(), tracked=Tracked())


def test_an_analysis_knows_whose_it_is() -> None:
    analysis = usual()
    assert (analysis.trial, analysis.bench, analysis.plan.label) == ("2026-11-25-1", "yard", "stove")
    assert analysis.grid.n == len(analysis.account.t_s) == 1300
    assert analysis.boiling_point.nominal_value == pytest.approx(99.31, abs=0.01)


def test_every_event_has_the_moment_at_which_a_live_run_said_it() -> None:
    for event in usual().events:
        assert event.announced_t_s is not None, event.kind
        assert event.t_s < event.announced_t_s < event.t_s + 150.0


def test_what_a_live_run_said_is_taken_as_it_was() -> None:
    boil = Event(EventKind.BOIL, STOVE.boil_s - 9.0, 4.0, "live", announced_t_s=512.25)
    back = Retraction(EventKind.FLAMEOUT, 400.0, 420.0, "the flame recovered")
    analysis = analyse(STOVE.curves(), DESCRIBED, STOVE.plan(), tracked=Tracked([boil], [back]))
    said = {event.kind: event.announced_t_s for event in analysis.events}
    assert said[EventKind.BOIL] == 512.25
    assert said[EventKind.LIT] is None
    assert analysis.retracted == (back,)
    # What the final pass found is its own.
    final = next(event for event in analysis.events if event.kind is EventKind.BOIL)
    assert abs(final.t_s - STOVE.boil_s) < 5.0


def test_loads_carry_the_span_of_the_cell() -> None:
    pot = next(event for event in usual().events if event.kind is EventKind.POT_ON)
    assert pot.size_g is not None
    assert pot.size_g.std_dev == pytest.approx(0.002 * 800.0, rel=0.05)


@pytest.mark.parametrize(
    ("name", "true"),
    [
        ("fuel_mass_lost", STOVE.burnt_g(STOVE.lit_s, STOVE.flameout_s)),
        ("water_evaporated", STOVE.evaporated_g()),
        ("burn_time", STOVE.flameout_s - STOVE.lit_s),
        ("time_to_boil", STOVE.boil_s - (STOVE.pot_on_s or 0.0)),
        (
            "burning_rate_mean",
            60.0 * STOVE.burnt_g(STOVE.lit_s, STOVE.flameout_s) / (STOVE.flameout_s - STOVE.lit_s),
        ),
    ],
)
def test_results_hold_the_truth_within_what_they_state(name: str, true: float) -> None:
    result = usual().results.values[name].value
    assert abs(result.nominal_value - true) < 3.0 * result.std_dev
    assert result.std_dev < 0.05 * true


def test_every_result_is_there_or_absent_with_a_reason() -> None:
    results = usual().results
    assert set(results.values) | set(results.absent) == set(RESULT_NAMES)
    assert not set(results.values) & set(results.absent)
    for reason in results.absent.values():
        assert len(reason) > 10
    for result in results.values.values():
        assert np.isfinite([result.value.nominal_value, result.value.std_dev]).all()


def test_the_summary_keeps_to_its_schema() -> None:
    schema = json.loads((files("emberline.trials") / "summary.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(json.loads(document_json(summary_document(usual()))), schema)


def test_an_analysis_repeated_is_the_same_to_the_byte() -> None:
    again = analyse(STOVE.curves(), DESCRIBED, STOVE.plan(), trial="2026-11-25-1", bench="yard")
    assert document_json(summary_document(again)) == document_json(summary_document(usual()))
    np.testing.assert_array_equal(again.account.fuel_g, usual().account.fuel_g)


def test_what_nobody_described_is_assumed_and_said() -> None:
    assert "assumed_channel" not in {note.code for note in usual().quality}
    curves = {Role.MASS: STOVE.curves()[Role.MASS]}
    analysis = analyse(curves, {}, STOVE.plan(), tracked=Tracked())
    assert [note.code for note in analysis.quality].count("assumed_channel") == 1


def test_a_better_probe_makes_a_surer_boil() -> None:
    good = {**DESCRIBED, Role.WATER: replace(DESCRIBED[Role.WATER], u_bias=0.3, u_time_constant_s=0.1)}
    boils = []
    for channels in (good, DESCRIBED):
        events = analyse(STOVE.curves(), channels, STOVE.plan(), tracked=Tracked()).events
        boils += [event for event in events if event.kind is EventKind.BOIL]
    assert boils[0].confirmed
    assert boils[0].u_s <= boils[1].u_s


def test_a_persons_flameout_moves_what_depends_on_it() -> None:
    earlier = Correction(1, 0, "Ana", "saw it die", AddEvent(EventKind.FLAMEOUT, 900.0, 1.0))
    analysis = analyse(STOVE.curves(), DESCRIBED, STOVE.plan(), log=(earlier,), tracked=Tracked())
    assert [(event.t_s, event.evidence) for event in analysis.events if event.kind is EventKind.FLAMEOUT] == [
        (900.0, "set by Ana: saw it die")
    ]
    assert analysis.results.values["burn_time"].value.nominal_value == pytest.approx(820.0, abs=5.0)
    lost = analysis.results.values["fuel_mass_lost"].value
    assert abs(lost.nominal_value - STOVE.burnt_g(STOVE.lit_s, 900.0)) < 3.0 * lost.std_dev


def test_a_plan_that_says_nothing_still_gives_times_and_losses() -> None:
    analysis = analyse(STOVE.curves(), DESCRIBED, empty_plan(), tracked=Tracked())
    assert {"burn_time", "fuel_mass_lost", "water_evaporated"} <= set(analysis.results.values)
    assert {"thermal_efficiency", "char_yield"} <= set(analysis.results.absent)


def test_a_gap_in_the_record_is_bridged_and_said() -> None:
    curves = STOVE.curves()
    for role, curve in curves.items():
        kept = (curve.t_s < 300.0) | (curve.t_s > 360.0)
        curves[role] = Curve(curve.t_s[kept], curve.value[kept])
    analysis = said_nothing(curves)
    assert [event.kind for event in analysis.events] == [event.kind for event in usual().events]
    assert "gap" in {note.code for note in analysis.quality}
    lost = analysis.results.values["fuel_mass_lost"].value
    assert abs(lost.nominal_value - STOVE.burnt_g(STOVE.lit_s, STOVE.flameout_s)) < 3.0 * lost.std_dev


def test_the_unit_of_time_is_the_second_of_the_first_sample() -> None:
    later = {role: Curve(curve.t_s + 200.0, curve.value) for role, curve in STOVE.curves().items()}
    moved = {event.kind: event.t_s for event in said_nothing(later).events}
    for event in usual().events:
        assert moved[event.kind] == pytest.approx(event.t_s + 200.0, abs=2.0)


def test_uncertain_inputs_are_named_in_the_budget() -> None:
    lost = usual().results.values["fuel_mass_lost"]
    assert "load_cell_span" in lost.budget
    total = float(np.sqrt(sum(part**2 for part in lost.budget.values())))
    assert total == pytest.approx(lost.value.std_dev, rel=1e-6)


def test_a_moist_fuel_changes_the_energy_and_not_the_loss() -> None:
    damp = STOVE.plan()
    damp = replace(damp, fuel=replace(damp.fuel, moisture_wet=ufloat(0.25, 0.01, tag="fuel.moisture_wet")))
    analysis = analyse(STOVE.curves(), DESCRIBED, damp, tracked=Tracked())
    for name, same in (("fuel_mass_lost", True), ("effective_heat_of_combustion", False)):
        ratio = analysis.results.values[name].value / usual().results.values[name].value
        assert (abs(ratio.nominal_value - 1.0) < 1e-9) is same
