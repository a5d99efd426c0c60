import pytest

from emberline_sim.stove import StoveBody


def run(body: StoveBody, seconds: float, flame_w: float, char_w: float) -> None:
    for _ in range(round(seconds / 0.5)):
        body.step(0.5, flame_w, char_w, 18.0)


def test_draught_comes_and_goes_with_the_flame_within_half_a_minute() -> None:
    body = StoveBody(18.0, 1700.0, 8.0)
    run(body, 40.0, 1700.0, 0.0)
    assert body.draught == pytest.approx(1.0, abs=0.03)
    run(body, 40.0, 0.0, 300.0)
    assert body.draught == pytest.approx(0.0, abs=0.03)


def test_body_heats_in_minutes_and_the_cell_in_tens_of_minutes() -> None:
    body = StoveBody(18.0, 1700.0, 8.0)
    run(body, 600.0, 1700.0, 0.0)
    assert 200.0 < body.body_c < 450.0
    assert 1.0 < body.cell_c - 18.0 < 4.5
    run(body, 7200.0, 0.0, 0.0)
    assert body.body_c == pytest.approx(18.0, abs=1.0)
    assert body.cell_c == pytest.approx(18.0, abs=0.2)
