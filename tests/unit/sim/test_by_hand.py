import os
from collections.abc import Iterator

import numpy as np
import pytest

from emberline_sim.by_hand import STEP_S, Hand, handled
from emberline_sim.device.converters import Block, Converter
from emberline_sim.device.wiring import wire
from emberline_sim.errors import ScenarioError
from emberline_sim.recording import Recording, record
from emberline_sim.scenario import parse_scenario
from live_fixture import short_burn

STOVE_AND_FUEL_G = 640.0 + 60.0 + 2.0


@pytest.fixture(scope="module")
def burn() -> Recording:
    return record(parse_scenario(short_burn(120.0)))


def bench(burn: Recording, hand: Hand) -> tuple[dict[str, Converter], Iterator[Block]]:
    converters, blocks = wire(burn)
    return {one.channel.name: one for one in converters}, handled(burn, converters, blocks, hand)


def shown(converters: dict[str, Converter], blocks: Iterator[Block], name: str, until_s: float) -> float:
    """Return the middle of what a channel shows in the last seconds before a moment."""
    channel, values = converters[name].channel, []
    for block in blocks:
        if block.channel == name:
            values += [(t, v) for t, v in zip(block.t_s.tolist(), block.raw.tolist(), strict=True)]
        if block.t_s[0] >= until_s:
            break
    return float(np.median([(v - channel.zero) * channel.scale for t, v in values if t > until_s - 2.0]))


def test_what_is_put_on_is_shown_until_it_is_taken_off(burn: Recording) -> None:
    hand = Hand()
    converters, blocks = bench(burn, hand)
    assert shown(converters, blocks, "mass", 5.0) == pytest.approx(0.0, abs=0.2)
    hand.do("put 640")
    assert shown(converters, blocks, "mass", 10.0) == pytest.approx(640.0, abs=0.2)
    hand.do("put 60.5")
    hand.do("take 0.5")
    assert shown(converters, blocks, "mass", 15.0) == pytest.approx(700.0, abs=0.2)
    hand.do("clear")
    assert shown(converters, blocks, "mass", 20.0) == pytest.approx(0.0, abs=0.2)


def test_the_probe_is_dipped_and_lifted(burn: Recording) -> None:
    hand = Hand()
    converters, blocks = bench(burn, hand)
    assert shown(converters, blocks, "water", 5.0) == pytest.approx(21.0, abs=0.3)
    hand.do("dip")
    assert shown(converters, blocks, "water", 20.0) == pytest.approx(13.0, abs=0.3)
    hand.do("lift")
    assert shown(converters, blocks, "water", 23.0) > 13.2


def test_the_burn_follows_its_match_and_what_stood_besides_stays(burn: Recording) -> None:
    hand = Hand()
    converters, blocks = bench(burn, hand)
    next(blocks)
    hand.do(f"put {STOVE_AND_FUEL_G + 100.0}")
    for block in blocks:
        if block.t_s[0] > 10.0:
            break
    hand.do("light")
    burning = [block for block in blocks if block.channel == "mass"] if hand.ended else []
    for block in blocks:
        burning.append(block)
        if block.t_s[0] > 60.0:
            break
    mass = [block for block in burning if block.channel == "mass"]
    scale, zero = converters["mass"].channel.scale, converters["mass"].channel.zero
    assert (float(np.median(mass[0].raw)) - zero) * scale == pytest.approx(STOVE_AND_FUEL_G + 100.0, abs=1.5)
    for name in ("mass", "water"):
        t_s = np.concatenate([block.t_s for block in burning if block.channel == name])
        assert np.all(np.diff(t_s) > 0.0)


def test_after_the_burn_the_scale_can_be_cleared_and_its_zero_has_drifted(burn: Recording) -> None:
    hand = Hand(lit=True)
    hand.on_g = STOVE_AND_FUEL_G
    converters, blocks = bench(burn, hand)
    left = shown(converters, blocks, "mass", 130.0)
    assert left > 640.0
    hand.do("clear")
    assert shown(converters, blocks, "mass", 140.0) == pytest.approx(0.4, abs=0.3)
    hand.do("end")
    assert max((float(block.t_s[0]) for block in blocks), default=0.0) < 141.0


def test_nothing_comes_once_the_bench_is_left(burn: Recording) -> None:
    hand = Hand(ended=True)
    _, blocks = bench(burn, hand)
    assert list(blocks) == []


def test_commands_come_in_pieces_and_end_with_their_stream() -> None:
    out, into = os.pipe()
    try:
        hand = Hand(out)
        os.write(into, b"put 6")
        hand.heed()
        assert hand.on_g == 0.0
        os.write(into, b"40\nlight\n\n")
        hand.heed()
        assert (hand.on_g, hand.lit, hand.ended) == (640.0, True, False)
    finally:
        os.close(into)
    hand.heed()
    os.close(out)
    assert hand.ended


@pytest.mark.parametrize("command", ["push 3", "put much"])
def test_what_nobody_can_do_is_refused(command: str) -> None:
    with pytest.raises(ScenarioError):
        Hand().do(command)


def test_a_command_takes_effect_within_a_second() -> None:
    assert STEP_S <= 1.0


def test_the_probe_is_put_into_a_bath(burn: Recording) -> None:
    hand = Hand()
    converters, blocks = bench(burn, hand)
    hand.do("bath 98.5")
    assert shown(converters, blocks, "water", 20.0) == pytest.approx(98.5, abs=0.3)
    with pytest.raises(ScenarioError, match="no number of degrees"):
        hand.do("bath hot")
