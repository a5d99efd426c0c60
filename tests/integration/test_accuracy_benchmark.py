"""The accuracy benchmark runs, and its scores are right: known answers give known figures."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from benchmarks.accuracy.__main__ import main
from benchmarks.accuracy.bars import bars, coverages
from benchmarks.accuracy.burns import Burn, Name, burn, families, names, simulators
from benchmarks.accuracy.judging import judge
from benchmarks.accuracy.pace import measure
from benchmarks.accuracy.plans import exactly, roughly
from benchmarks.accuracy.scoring import (
    WINDOW_S,
    Expected,
    Figure,
    Found,
    Outcome,
    figures,
    in_dips,
    likely,
    lit_again,
    refuel_excess_g,
    tally,
)
from emberline.bench.plan import parse_plan
from emberline.bench.samples import Curve

TRUE = (
    Expected("lit", 60.0),
    Expected("pot_on", 120.0, 900.0),
    Expected("boil", 480.0),
    Expected("pot_off", 700.0, -850.0),
    Expected("refuel", 800.0, 100.0),
    Expected("flameout", 1500.0, where="pot off"),
)


def outcome(*found: Found, expected: tuple[Expected, ...] = TRUE, **rest: object) -> Outcome:
    return Outcome("made up", expected, found, **rest)  # type: ignore[arg-type]


def shifted(by_s: float, u_s: float = 1.0, after_s: float = 10.0) -> tuple[Found, ...]:
    return tuple(Found(e.kind, e.t_s + by_s, u_s, e.size_g, e.t_s + after_s) for e in TRUE)


@pytest.mark.parametrize("kind", [event.kind for event in TRUE])
def test_perfect_events_have_no_error(kind: str) -> None:
    some = tally([outcome(*shifted(0.0))], kind)
    assert some.errors_s == [0.0]
    assert (some.missed, some.invented, some.covered) == ([], [], [True])


@pytest.mark.parametrize("by_s", [-3.0, 2.5])
def test_shifted_events_have_the_shift_as_their_error(by_s: float) -> None:
    for event in TRUE:
        some = tally([outcome(*shifted(by_s))], event.kind)
        assert some.errors_s == [pytest.approx(by_s)]
        assert some.covered == [False]
        assert tally([outcome(*shifted(by_s, u_s=2.0))], event.kind).covered == [True]
        assert some.delays_s == [10.0]


def test_what_never_was_is_invented_and_what_is_not_found_is_missed() -> None:
    boil = tally([outcome(Found("boil", 480.0, 1.0), Found("boil", 900.0, 1.0))], "boil")
    assert (boil.true, len(boil.pairs), len(boil.invented)) == (1, 1, 1)
    assert boil.invented[0][1].t_s == 900.0
    assert [event.t_s for _, event in tally([outcome()], "boil").missed] == [480.0]


def test_an_event_too_far_away_is_missed_and_another_invented() -> None:
    some = tally([outcome(Found("boil", 480.0 + WINDOW_S["boil"] + 1.0))], "boil")
    assert (len(some.pairs), len(some.missed), len(some.invented)) == (0, 1, 1)


def test_of_two_events_the_nearer_one_is_taken() -> None:
    some = tally([outcome(Found("boil", 500.0), Found("boil", 481.0))], "boil")
    assert some.errors_s == [1.0]
    assert [event.t_s for _, event in some.invented] == [500.0]


def test_an_optional_event_may_be_found_or_not() -> None:
    hidden = (Expected("boil", 480.0, optional=True),)
    for found in ((), (Found("boil", 470.0),)):
        some = tally([outcome(*found, expected=hidden)], "boil")
        assert (some.true, some.missed, some.invented) == (0, [], [])


def test_circumstances_keep_to_themselves() -> None:
    burns = [
        outcome(*shifted(4.0)),
        outcome(Found("flameout", 300.0), expected=(Expected("flameout", 200.0, where="probe"),)),
    ]
    assert tally(burns, "flameout", lambda where: where == "pot off").errors_s == [4.0]
    assert tally(burns, "flameout", lambda where: where == "probe").errors_s == [100.0]


def test_a_load_in_a_gap_is_dated_no_better_than_the_gap() -> None:
    late = (Found("pot_on", 120.0 + WINDOW_S["pot_on"] + 20.0),)
    assert tally([outcome(*late)], "pot_on").pairs == []
    assert len(tally([outcome(*late, late_s=25.0)], "pot_on").pairs) == 1


def test_flameouts_in_a_dip_are_counted_whether_they_stand_or_not() -> None:
    burns = [
        outcome(
            Found("flameout", 1500.0, announced_s=1530.0), dips=((795.0, 860.0),), withdrawn=(("flameout", 850.0),)
        ),
        outcome(Found("flameout", 800.0, announced_s=820.0), dips=((795.0, 860.0),), withdrawn=(("boil", 850.0),)),
    ]
    assert [moment for _, moment in in_dips(burns)] == [850.0, 820.0]


def test_an_end_that_was_true_until_it_was_lit_again_is_told_from_one_that_never_was() -> None:
    dark = ((800.0, 900.0),)
    assert lit_again(outcome(dark=dark, withdrawn=(("flameout", 850.0),)))
    assert not lit_again(outcome(dark=dark, withdrawn=(("flameout", 950.0),)))
    assert not lit_again(outcome(dark=dark, withdrawn=(("flameout", 850.0), ("boil", 860.0))))


def test_a_refuel_may_be_off_by_two_grams_and_three_percent() -> None:
    for size_g, excess_g in ((100.0, -5.0), (107.0, 2.0), (93.0, 2.0)):
        (pair,) = tally([outcome(Found("refuel", 800.0, 1.0, size_g))], "refuel").pairs
        assert refuel_excess_g(pair) == pytest.approx(excess_g)


def test_an_interval_covers_what_lies_within_it() -> None:
    assert Figure("x", 10.0, 11.9, 1.0).covered
    assert not Figure("x", 10.0, 12.1, 1.0).covered
    given = outcome(*shifted(0.0), results=(Figure("char_left", 50.0, 51.0, 1.0),), traits=frozenset({"exact"}))
    assert coverages([given])["char_left"] == [True]
    assert len(figures([given], "char_left", "exact")) == 1
    assert figures([given], "char_left", "-exact") == []


def test_likely_errors_are_those_of_normal_distributions() -> None:
    # 95 % lie within 1.960 standard deviations, half within 0.674 (any table of the normal distribution).
    assert likely([2.0], 95) == pytest.approx(2.0 * 1.960, rel=0.02)
    assert likely([2.0], 50) == pytest.approx(2.0 * 0.674, rel=0.02)
    # Of a wide and a narrow one, the wide one makes the large errors: its outermost tenth.
    assert likely([1.0, 1e-3], 95) == pytest.approx(1.645, rel=0.02)


def test_bars_are_met_by_perfect_answers_and_missed_by_bad_ones() -> None:
    good = {bar.figure: bar.met for bar in bars([outcome(*shifted(0.0))] * 60, [], None)}
    assert set(good.values()) == {True, None, False}
    # Intervals that always hold the truth are too wide: 92 to 98 of 100 should.
    assert [figure for figure, met in good.items() if met is False] == ["95 % intervals: coverage of every quantity"]
    bad = {bar.figure: bar.met for bar in bars([outcome(*shifted(20.0, after_s=90.0))], [], None)}
    assert bad["boil: median / 95th percentile error"] is False
    assert bad["boil: missed + invented"] is True
    assert bad["announcement delay, median: boil"] is False


def test_a_name_makes_the_same_burn_again() -> None:
    name = Name("layer", "chips", 12)
    one, other = burn(name), burn(name)
    assert (one.plan, one.expected, one.results) == (other.plan, other.expected, other.results)
    assert all((one.curves[role].t_s == other.curves[role].t_s).all() for role in one.curves)


def test_names_take_simulators_and_families_in_turn() -> None:
    some = names(2 * sum(len(families(one)) for one in simulators()), 5)
    assert len(set(some)) == len(some)
    assert {name.simulator for name in some} == set(simulators())
    assert {name.family for name in names(40, 5, "layer")} == set(families("layer"))
    assert names(3, 5, family="unheard of") == []


def test_plans_are_exact_or_rough() -> None:
    text = "[fuel]\nmass_g = 300.0\nmoisture_wet = 0.1\nstarter_g = 0.0\n[place]\naltitude_m = 200.0\n"
    exact = parse_plan(exactly(text)).fuel.mass_g
    assert exact is not None
    assert (exact.n, exact.s) == (300.0, pytest.approx(0.3))
    rough = [parse_plan(roughly(text, np.random.default_rng(seed))).fuel.mass_g for seed in range(50)]
    dry_boil = [
        roughly("[pot]\ntare_g = 300.0\nwater_g = 500.0\nfinal_water_g = 499.9\n", np.random.default_rng(seed))
        for seed in range(30)
    ]
    assert all(parse_plan(one).pot is not None for one in dry_boil)
    off = [one.n - 300.0 for one in rough if one is not None]
    assert 0.3 < sum(x * x for x in off) / 50.0 / 0.5**2 < 2.0


SHORT = ("layer/sticks/3", "layer/chips/2", "particles/kept/30")
"""Burns of both simulators that are quickly made."""


@pytest.fixture(scope="module")
def short(tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    """A short run of the command, final pass alone."""
    file: Path = tmp_path_factory.mktemp("accuracy") / "run.json"
    chosen = [argument for name in SHORT for argument in ("--burn", name)]
    result = CliRunner().invoke(main, [*chosen, "--final", "--procs", "1", "--json", str(file)])
    assert result.exit_code == 0, result.output
    for title in ("Events", "Results", "Plain methods", "Bars"):
        assert title in result.output
    tree: dict[str, object] = json.loads(file.read_text())
    return tree


def test_the_command_judges_burns_of_all_simulators(short: dict[str, object]) -> None:
    burns = short["burns"]
    assert isinstance(burns, list)
    assert {one["burn"].split("/")[0] for one in burns} == set(simulators())
    assert short["crashes"] == []
    assert any(one["found"] and one["results"] and one["rivals"] for one in burns)


def test_unknown_burns_are_refused() -> None:
    for arguments in (["--burn", "layer/chips"], ["--family", "unheard of", "--burns", "1"], ["--simulator", "none"]):
        assert CliRunner().invoke(main, arguments).exit_code == 2


def test_a_live_run_is_scored_with_its_announcements_and_forecasts() -> None:
    whole: Burn = burn(Name("layer", "sticks", 3))
    start = {
        role: Curve(curve.t_s[curve.t_s < 400.0], curve.value[curve.t_s < 400.0])
        for role, curve in whole.curves.items()
    }
    judged = judge(replace(whole, curves=start))
    assert any(event.announced_s is not None for event in judged.found)
    assert all(forecast.u > 0.0 for forecast in judged.forecasts)


def test_the_final_analysis_is_timed_beside_a_plain_method() -> None:
    pace = measure(1)
    assert pace.analysis_ms > 0.0
    assert pace.plain_ms > 0.0
