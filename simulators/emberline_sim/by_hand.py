"""A bench that somebody handles: things are put on its scale and taken off on command, before a burn and after it.

Commands come one a line, with the time at which the next readings are taken:

| command | what happens |
|---|---|
| `put 640`, `take 640` | so many grams are put on, or taken off |
| `clear` | everything is taken off |
| `dip`, `lift` | the water probe is put into tap water, or hung in the air |
| `bath 0` | the water probe is put into water of so many degrees |
| `light` | the scenario's burn begins; its stove, fuel and starter should stand there |
| `end` | nothing more happens |

What else stands on the scale as the burn begins stays there. Other probes show the air meanwhile.
"""

import os
import select
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from emberline_sim.device.converters import Block, Converter
from emberline_sim.errors import ScenarioError
from emberline_sim.recording import Recording
from emberline_sim.specs import BalanceSpec, ProbeSpec

STEP_S = 0.5
"""Time for which readings are made at once; a command takes effect within it."""
HANDLED_S = 0.8
PUSH_G = 25.0
"""How long a hand is on the load, and how hard it pushes meanwhile (standard deviation)."""
TAP_C = 13.0
DIPPED_S = {True: 1.6, False: 25.0}
"""Time constants of the water probe in water and in air."""
COOLING_S = 300.0
"""Time constant with which any other probe comes back to what it showed before the burn."""
MOST_WAITING = 65_536


@dataclass
class Hand:
    """What somebody does at the bench, as told by a stream of commands.

    Attributes:
        descriptor: File descriptor from which commands are read; None for none.
        on_g: What stands on the scale.
        bath_c: Temperature of the water in which the water probe hangs; None in the air.
        lit: Whether the burn has begun.
        ended: Whether nothing more happens.
        handled: Whether something was put on or taken off since the last step.
    """

    descriptor: int | None = None
    on_g: float = 0.0
    bath_c: float | None = None
    lit: bool = False
    ended: bool = False
    handled: bool = False
    _read: bytes = b""

    def heed(self) -> None:
        """Do what was asked since the last time.

        Raises:
            ScenarioError: Something was asked that nobody can do.
        """
        while self.descriptor is not None and select.select([self.descriptor], [], [], 0.0)[0]:
            piece = os.read(self.descriptor, MOST_WAITING)
            if not piece:
                self.descriptor, self.ended = None, True
            self._read += piece
        *lines, self._read = self._read.split(b"\n")
        for line in lines:
            self.do(line.decode(errors="replace"))

    def do(self, command: str) -> None:
        """Do one thing; a blank line is none.

        Raises:
            ScenarioError: Nobody can do that.
        """
        word, _, rest = command.strip().partition(" ")
        match word:
            case "":
                return
            case "put" | "take":
                self.on_g += _number(rest, "grams") * (1.0 if word == "put" else -1.0)
                self.handled = True
            case "clear":
                self.on_g, self.handled = 0.0, True
            case "dip" | "lift":
                self.bath_c = TAP_C if word == "dip" else None
            case "bath":
                self.bath_c = _number(rest, "degrees")
            case "light":
                self.lit = True
            case "end":
                self.ended = True
            case _:
                raise ScenarioError(f"no command is called {word!r}: put, take, clear, dip, lift, bath, light, end")


@dataclass
class _State:
    """What the bench shows between two steps.

    Attributes:
        shown_g: Load that the scale shows, its zero included.
        zero_g: What it shows empty.
        probes: What each channel shows, in codes.
        rng: Chance.
    """

    shown_g: float
    zero_g: float
    probes: dict[str, float]
    rng: np.random.Generator
    at_s: float = 0.0
    rest: dict[str, float] = field(default_factory=dict)


def handled(
    recording: Recording, converters: Sequence[Converter], burn: Iterator[Block], hand: Hand
) -> Iterator[Block]:
    """Yield a bench's readings as somebody handles it: before the burn, the burn itself, and after it.

    Args:
        recording: The burn.
        converters: Its converters.
        burn: Its readings.
        hand: What somebody does.
    """
    first = {one.channel.name: _first(one, recording) for one in converters}
    zero_g = 0.0 if recording.scenario.channels.mass is None else recording.scenario.channels.mass.zero_g
    state = _State(zero_g, zero_g, dict(first), np.random.default_rng(recording.scenario.seed), rest=first)
    yield from _idle(state, recording, converters, hand, until_lit=True)
    if hand.ended:
        return
    begun_s, stood_g = state.at_s, _load_at_start(recording)
    besides_g = hand.on_g - stood_g
    counts_per_g = _counts_per_g(converters)
    last: dict[str, float] = {}
    for block in burn:
        raw = block.raw
        if block.channel == "mass":
            raw = raw + round(besides_g * counts_per_g)
        good = raw[block.faults == 0]
        if len(good):
            last[block.channel] = float(np.median(good[-20:]))
        yield replace(block, t_s=block.t_s + begun_s, raw=raw)
    state.at_s = begun_s + recording.scenario.duration_s
    state.probes.update(last)
    mass = next((one for one in converters if one.channel.name == "mass"), None)
    if mass is not None and "mass" in last:
        spec = recording.scenario.channels.mass or BalanceSpec()
        state.shown_g = (last["mass"] - mass.channel.zero) * mass.channel.scale
        state.zero_g = zero_g + 0.5 * spec.drift_g_k * spec.cell_rise_c
        hand.on_g, hand.handled = state.shown_g - state.zero_g, False
    yield from _idle(state, recording, converters, hand, until_lit=False)


def _idle(
    state: _State, recording: Recording, converters: Sequence[Converter], hand: Hand, *, until_lit: bool
) -> Iterator[Block]:
    while True:
        hand.heed()
        if hand.ended or (until_lit and hand.lit):
            return
        before_g, state.shown_g = state.shown_g, state.zero_g + hand.on_g
        pushed, hand.handled = hand.handled, False
        blocks = []
        for one in converters:
            t_s = np.arange(state.at_s, state.at_s + STEP_S - 1e-9, one.channel.period_us * 1e-6) + 1e-3
            if state.at_s % max(one.channel.period_us * 1e-6, STEP_S) > 1e-6:
                continue  # a slow channel has no reading in every step
            if one.channel.name == "mass":
                blocks.append(_weighed(one, t_s, state, before_g, recording, pushed))
            else:
                blocks.append(_probed(one, t_s, state, hand, recording))
        state.at_s += STEP_S
        yield from sorted((one for one in blocks if len(one)), key=lambda block: float(block.t_s[0]))


def _weighed(
    one: Converter, t_s: NDArray[np.float64], state: _State, before_g: float, recording: Recording, pushed: bool
) -> Block:
    spec = recording.scenario.channels.mass or BalanceSpec()
    share = np.clip((t_s - t_s[0]) / HANDLED_S, 0.0, 1.0) if pushed else np.ones(len(t_s))
    load_g = (before_g + share * (state.shown_g - before_g)) * (1.0 + spec.span)
    noise_g = state.rng.normal(0.0, spec.noise_g, len(t_s))
    if pushed:
        noise_g += state.rng.normal(0.0, PUSH_G, len(t_s))
    return one.convert(t_s, load_g + noise_g)


def _probed(one: Converter, t_s: NDArray[np.float64], state: _State, hand: Hand, recording: Recording) -> Block:
    name, channel = one.channel.name, one.channel
    target, lag_s = state.rest[name], COOLING_S
    if name == "water":
        lag_s = DIPPED_S[hand.bath_c is not None]
        if hand.bath_c is not None:
            spec, air_c = recording.scenario.channels.water or ProbeSpec(), recording.scenario.place.ambient_c
            shown_c = hand.bath_c + spec.bias_c + spec.gain * (hand.bath_c - air_c)
            target = shown_c / channel.scale + channel.zero
    now = target + (state.probes[name] - target) * float(np.exp(-STEP_S / lag_s))
    state.probes[name] = now
    codes = np.full(len(t_s), round(now), dtype=np.int64)
    return Block(name, t_s, codes, np.zeros(len(t_s), dtype=np.uint8))


def _first(one: Converter, recording: Recording) -> float:
    """Return the code that a channel shows before the burn."""
    record = recording.channels.get(one.channel.name)
    if record is None:  # a cold junction
        return recording.scenario.place.ambient_c / one.channel.scale + one.channel.zero
    known = record.value[np.isfinite(record.value)]
    if one.channel.name == "water":
        return recording.scenario.place.ambient_c / one.channel.scale + one.channel.zero
    return float(np.median(known[:20])) / one.channel.scale + one.channel.zero if len(known) else one.channel.zero


def _load_at_start(recording: Recording) -> float:
    """Return what of the scenario stands on the scale as the burn begins."""
    fuel = recording.scenario.fuel
    return recording.scenario.stove_g + (0.0 if fuel is None else fuel.mass_g + fuel.starter_g)


def _counts_per_g(converters: Sequence[Converter]) -> float:
    return next((1.0 / one.channel.scale for one in converters if one.channel.name == "mass"), 0.0)


def _number(text: str, of: str) -> float:
    try:
        return float(text)
    except ValueError as error:
        raise ScenarioError(f"{text!r} is no number of {of}") from error
