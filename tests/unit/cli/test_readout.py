import io
from typing import Any

import pytest
from rich.console import Console

from emberline.cli.readout import Readout, event_lines, panel, state_line, value_line
from emberline.reports.caution import CAUTION_LINE
from emberline.trials.live_document import HOT_CHAR


def live(**changes: Any) -> dict[str, Any]:
    document: dict[str, Any] = {
        "bench": "yard",
        "recording": "recording",
        "link": "streaming",
        "trouble": "",
        "values": {
            "water": {"value": 87.25, "unit": "c", "age_s": 0.4, "stale": False},
            "flame": {"value": 702.1, "unit": "c", "age_s": 9.0, "stale": True},
            "mass": {"value": -1717.1, "unit": "g", "age_s": 0.4, "stale": False},
        },
        "samples_lost": 0,
        "trial": "2025-11-25-1",
        "label": "chips",
        "t_s": 452.0,
        "followed_s": 450.0,
        "phase": "flaming",
        "known_until_s": None,
        "burning_rate_g_min": {"value": 7.6, "u": 0.3},
        "burning_rate_held": False,
        "boil_forecast": {"t_s": 560.0, "u_s": 12.0, "interval_95": [530.0, 590.0]},
        "flameout_forecast": {"absent": "the plan gives no mass of fuel"},
        "progress": 0.42,
        "time_ns": 600_000_000_000,
        "water_left_g": None,
        "alarms": [],
    }
    return {**document, **changes}


def event(kind: str = "lit", **changes: Any) -> dict[str, Any]:
    document = {
        "kind": kind,
        "trial": "2025-11-25-1",
        "retracted": False,
        "t_s": 75.0,
        "u_s": 2.0,
        "revised_t_s": None,
        "size_g": None,
        "confirmed": True,
        "evidence": "the probe rose",
    }
    return {**document, **changes}


def drawn(document: dict[str, Any], events: list[Any], width: int = 100) -> str:
    console = Console(file=io.StringIO(), width=width, highlight=False, markup=False, emoji=False)
    with console.capture() as captured:
        console.print(panel(document, events))
    return captured.get().replace("\u00a0", " ")


def test_a_search_for_events_that_lags_behind_is_said() -> None:
    assert "behind" not in drawn(live(), []) + value_line(live())
    late = live(followed_s=370.0)
    for text in (drawn(late, []), value_line(late)):
        assert "events are looked for 1 min 22 s behind the readings" in text.replace("\u00a0", " ")
    assert "behind" not in drawn(live(t_s=None, followed_s=None), [])


def test_a_revised_event_is_told_as_such() -> None:
    revised = event("refuel", size_g=84.0, revised_t_s=120.0)
    (line,) = event_lines(revised)
    assert "refuel revised +84.0 g" in line
    assert "revised" in drawn(live(), [revised])
    assert len(event_lines(event("flameout"))) == 2
    assert len(event_lines(event("flameout", revised_t_s=120.0))) == 1


def test_the_panel_shows_readings_rate_phase_forecasts_progress_and_caution() -> None:
    text = drawn(live(), [event()])
    for part in (
        "bench yard",
        "2025-11-25-1",
        "● recording",
        "7:32 into the record",
        "87.2 °C",
        "boil in 1 min 48 s (1:18 to 2:18)",
        "7.6 ± 0.6 g/min",
        "flameout – the plan gives no mass of fuel",
        "flaming",
        "42 %",
        "1:15 ± 4 s",
        "the probe rose",
        "Caution",
    ):
        assert part in text, part


def test_an_old_value_is_shown_with_its_age() -> None:
    assert "9 s old" in drawn(live(), [])


def test_nothing_made_of_old_readings_is_shown_as_if_it_were_of_now() -> None:
    mass = {"value": 800.0, "unit": "g", "age_s": 42.0, "stale": True}
    water = {"value": 87.25, "unit": "c", "age_s": 42.0, "stale": True}
    absent = {"absent": "not known: the water's readings have stopped"}
    silent = live(values={"mass": mass, "water": water}, known_until_s=452.0, progress=None, boil_forecast=absent)
    for text in (drawn(silent, []), value_line(silent)):
        assert "not known (flaming until 7:32, when the readings stopped)" in text
        assert "boil in" not in text
    (burning,) = (line for line in drawn(silent, []).splitlines() if "burning" in line)
    assert "42 s old; flameout" in burning
    screen = io.StringIO()
    Console(file=screen, force_terminal=True, width=100).print(panel(silent, []))
    assert "\x1b[2m7.6 ± 0.6 g/min" in screen.getvalue()
    assert "\x1b[2mphase not known" in screen.getvalue()


def test_troubles_and_losses_are_shown() -> None:
    text = drawn(live(recording="not recording", trouble="the disk is full", samples_lost=12), [])
    assert "○ not recording" in text
    assert "the disk is full" in text
    assert "12 samples lost" in text


@pytest.mark.parametrize("width", [40, 70, 200])
def test_the_panel_fits_any_width(width: int) -> None:
    lines = drawn(live(), [event(), event("pot_on", size_g=812.3, evidence="x" * 300)], width).splitlines()
    assert max(map(len, lines)) <= width


def test_at_flameout_the_panel_warns_of_the_char() -> None:
    assert "carbon monoxide rises" in " ".join(drawn(live(phase="char"), []).split())
    assert "carbon monoxide rises" not in drawn(live(), [])


def test_the_bench_without_a_trial_is_shown_too() -> None:
    nothing: dict[str, Any] = dict.fromkeys(("trial", "label", "t_s", "progress", "burning_rate_g_min"))
    nothing["values"] = {}
    text = drawn(live(phase="waiting", **nothing), [])
    assert "no trial is open" in text
    assert "waiting for fire" in text


def test_a_line_for_readings() -> None:
    line = value_line(live()).replace("\u00a0", " ")
    assert line.startswith("  7:32  water 87.2 °C  flame 702.1 °C  mass −1717.1 g  burning 7.6 ± 0.6 g/min  flaming")
    assert line.endswith("boil in 1 min 48 s (1:18 to 2:18)")


def test_lines_for_events() -> None:
    assert event_lines(event()) == ["  >>   1:15 ± 4 s  lit: the probe rose"]
    assert "pot on −812.3 g (unconfirmed)" in event_lines(event("pot_on", size_g=-812.3, confirmed=False))[0]
    assert event_lines(event("flameout"))[1].strip() == HOT_CHAR
    assert "flameout taken back: it burns" in event_lines(event("flameout", retracted=True, why="it burns"))[0]
    summary = {"kind": "summary", "trial": "t", "provisional": True, "page": "a/summary.html"}
    assert event_lines(summary) == ["  >>   provisional summary: a/summary.html"]


def test_a_line_for_the_state() -> None:
    assert state_line(live(trouble="no port")) == "[recording] streaming; no port"


def test_a_boil_that_is_overdue_may_come_any_moment() -> None:
    overdue = live(boil_forecast={"t_s": 450.0, "u_s": 5.0, "interval_95": [440.0, 460.0]})
    assert "boil any moment (0:00 to 0:08)" in value_line(overdue)


def test_without_a_terminal_there_is_a_line_each_half_minute_and_one_for_each_event(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with Readout(Console(file=io.StringIO())) as readout:
        for t_s in range(0, 100, 5):
            readout.show({"live": live(t_s=float(t_s))})
        readout.show({"event": event()})
        readout.show({"live": live(t_s=None, trial=None)})
        readout.show({"live": live(t_s=1.0)})
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == CAUTION_LINE
    assert [line.split()[0] for line in lines if "burning" in line] == ["0:00", "0:30", "1:00", "1:30", "0:01"]
    assert sum(line.startswith("  >>") for line in lines) == 1
    assert sum(line.startswith("[recording]") for line in lines) == 1


def test_a_terminal_gets_a_panel_that_is_drawn_over() -> None:
    screen = io.StringIO()
    with Readout(Console(file=screen, force_terminal=True, width=100)) as readout:
        readout.show({"event": event()})
        readout.show({"event": event("lit", trial="2025-11-25-2", evidence="the second trial")})
        readout.show({"live": live()})
    text = screen.getvalue()
    assert "● recording" in text
    assert "the second trial" in text
    assert "the probe rose" not in text
