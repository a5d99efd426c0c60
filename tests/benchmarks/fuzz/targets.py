"""What is fed, and what must hold of each whatever it is fed with; a target raises where it does not hold."""

import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from benchmarks.fuzz import inputs
from benchmarks.fuzz.inputs import Make, as_it_is, damaged, either, one_after_the_other, reworded
from emberline.bench.bench_file import SerialPort, parse_bench
from emberline.bench.bench_proposal import ProposedChannel, proposal_text
from emberline.bench.errors import Problem, TextError
from emberline.bench.plan import parse_plan
from emberline.bench.plan_table import read_plan_table
from emberline.bench.samples import FLAG_FAULT
from emberline.bench.text_lines import TextLines
from emberline.curves.checkup.findings import findings_of
from emberline.links.arrivals import Missed, Unnumbered
from emberline.links.errors import LinkError, RecordingError
from emberline.links.line_columns import LinesHeard, map_columns, signals_of
from emberline.links.line_splitter import LineSplitter
from emberline.links.lines_in import LinesIn
from emberline.links.mqtt_claims import claim_of
from emberline.links.replay import read_recording
from emberline.links.senml import MAX_NAME, SenmlError, read_senml
from emberline.links.standings import read_hello, read_standing
from emberline.links.text_line import Remark, Values, read_text_line
from emberline.service.control import read_request
from emberline.store import blocks
from emberline.store.errors import StoreDamagedError
from emberline_wire import FrameDecoder, MessageError, Samples, Session, decode_body, decode_message
from emberline_wire.errors import BadStateError
from emberline_wire.limits import MAX_FRAME_BYTES
from unit.store.made_up import NOON_NS, batch


@dataclass
class Target:
    """One parser.

    Attributes:
        name: What it reads.
        feed: Runs it once on some input and checks what came of it.
        make: Makes its input of random bytes.
        share: Its part of all executions; slow ones have less.
        executions: How often it has run.
    """

    name: str
    feed: Callable[[bytes], None]
    make: Make
    share: float
    executions: int = 0

    def run(self, random_bytes: bytes) -> None:
        """Run once; raises where something does not hold."""
        self.executions += 1
        self.feed(self.make(random_bytes))


def _frames(data: bytes) -> None:
    """Frames come out alike however the bytes are cut, and no more is held than a frame."""
    whole, piecewise = FrameDecoder(), FrameDecoder()
    found = whole.feed(data)
    pieces = [one for at in range(0, len(data), 7) for one in piecewise.feed(data[at : at + 7])]
    assert found == pieces
    assert whole.counters == piecewise.counters
    assert whole.buffered == piecewise.buffered <= 2 * MAX_FRAME_BYTES


def _message(data: bytes) -> None:
    """What is a message says the same once it was written again, and the claim of a frame is that of its samples."""
    found = decode_body(data)
    assert len(found) <= len(data)
    for one in found:
        if not isinstance(one, MessageError):
            written = one.to_bytes()
            assert decode_message(written).to_bytes() == written
    claim = claim_of(found)
    assert (claim is not None) == any(isinstance(one, Samples) for one in found)
    assert claim is None or all(seq > 0 for seq in claim.wanted.values())


def _session(data: bytes) -> None:
    """A session outlives everything that a line or a broker may bring."""
    session = Session()
    session.connected(NOON_NS)
    for at in range(0, len(data), 97):
        session.receive(data[at : at + 97], NOON_NS + at * 1_000_000)
        session.tick(NOON_NS + at * 1_000_000)
        session.bytes_to_send()
    session.take(session.open_packet(data), NOON_NS + 10**10)
    session.packets_to_send()
    session.disconnected()


def _lines(data: bytes) -> None:
    """Of lines of text come finite readings or faults, times never run back, and every line is counted."""
    for lines in (TextLines(("2", "3"), 3, "1"), TextLines(("1", "2"), 2), TextLines(("water", "mass"), time="t")):
        talk = LinesIn(lines, {}, 9600)
        talk.connected(NOON_NS)
        last_ns: dict[str, int] = {}
        readings = 0
        for at in range(0, len(data), 61):
            now_ns = NOON_NS + at * 30_000_000
            for one in talk.take_in([(data[at : at + 61], now_ns)], now_ns):
                if isinstance(one, Unnumbered):
                    readings += len(one.raw)
                    assert np.all(np.isfinite(one.raw) == (one.flags & FLAG_FAULT == 0))
                    assert last_ns.get(one.channel, 0) <= one.t_ns[0]
                    assert np.all(np.diff(one.t_ns) >= 0)
                    last_ns[one.channel] = int(one.t_ns[-1])
                elif isinstance(one, Missed):
                    assert one.count > 0
                    assert one.start_ns <= one.end_ns
        assert talk.counters.good <= readings <= 2 * talk.counters.good


def _unknown_lines(data: bytes) -> None:
    """Whatever a sketch prints, what is guessed of it makes a bench file that says the same."""
    found = [read_text_line(line) for line, _ in LineSplitter(begun=False).feed(data)]
    values = tuple((one, 0.5 * number) for number, one in enumerate(found) if isinstance(one, Values))
    names = [one.names for one in found if isinstance(one, Remark) and one.names]
    heard = LinesHeard(values, names[0] if names else ())
    try:
        guess = map_columns(heard, {})
    except LinkError:
        return
    for signal in signals_of(heard, guess).values():
        findings_of(signal)
    channels = [ProposedChannel(role, name, guess.reasons[name]) for name, role in guess.roles.items()]
    port = SerialPort("/dev/x", lines=guess.lines)
    assert parse_bench(proposal_text("x", port, channels, guess.reasons)).serial == port


def _senml(data: bytes) -> None:
    """A reading is a finite number with a short name."""
    for content in ("", "application/senml+cbor", "application/senml+json"):
        try:
            pack = read_senml(data, content)
        except SenmlError:
            continue
        for one in pack.readings:
            assert math.isfinite(one.value)
            assert math.isfinite(one.t_s)
            assert 0 < len(one.name) <= MAX_NAME


def _toml(parse: Callable[[str], object]) -> Callable[[bytes], None]:
    """Every problem names a line of the text, and says something."""

    def feed(data: bytes) -> None:
        text = data.decode("utf-8", errors="replace")
        problems: tuple[Problem, ...] = ()
        try:
            parse(text)
        except TextError as error:
            problems = error.problems or (Problem(""),)
        for problem in problems:
            assert problem.text
            assert problem.line is None or 1 <= problem.line <= text.count("\n") + text.count("\r") + 1

    return feed


_FOLDER = TemporaryDirectory(prefix="emberline-fuzz-")


def _table(data: bytes) -> None:
    """A recording has samples in order of time, each with a flag."""
    path = Path(_FOLDER.name) / "burn.csv"
    path.write_bytes(data)
    try:
        recording = read_recording(path, origin_ns=NOON_NS)
    except RecordingError:
        return
    assert recording.batches
    for one in recording.batches.values():
        assert len(one.t_ns) == len(one.raw) == len(one.flags) > 0
        assert np.all(np.diff(one.t_ns) >= 0)


def _standing(data: bytes) -> None:
    """What was kept of a device either serves a session or is told to be damaged."""
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        return
    if not isinstance(document, dict):
        return
    read_hello(document)
    try:
        Session(standing=read_standing(document))
    except BadStateError:
        return


def _request(data: bytes) -> None:
    try:
        request = read_request(data)
    except ValueError:
        return
    assert isinstance(request, dict)


def _block(data: bytes) -> None:
    """Blocks of a damaged store are told as such, or give samples that fit together."""
    try:
        commits = blocks.decode(data)
    except StoreDamagedError:
        return
    for commit in commits:
        for one in commit.batches:
            assert len(one.t_ns) == len(one.raw) == len(one.flags)


def targets() -> list[Target]:
    """Return all parsers that take bytes from outside, none of them run yet."""
    plan, bench = (inputs.PLAN, inputs.MORE_PLAN), (inputs.BENCH, inputs.MORE_BENCH)
    block = blocks.encode(
        [blocks.Commit(1, (batch(0, 20), batch(0, 5, channel="water"))), blocks.Commit(2, (batch(20, 9),))]
    )
    frames, bodies, senml = inputs.frames(), inputs.bodies(), inputs.senml()
    streams, several = one_after_the_other(damaged(frames), 5), one_after_the_other(damaged(bodies), 4)
    documents, tables, lines, plans = inputs.DOCUMENTS, inputs.TABLES, inputs.LINES, inputs.PLAN_TABLES
    return [
        Target("serial line to frames", _frames, either(streams, as_it_is), 0.18),
        Target("frame body to messages", _message, either(damaged(bodies), several), 0.37),
        Target("session of a device", _session, either(streams, damaged(inputs.packets())), 0.07),
        Target("lines of a sketch, text", _lines, either(damaged(lines), reworded(lines), as_it_is), 0.03),
        Target("lines of an unknown sketch, text", _unknown_lines, either(damaged(lines), reworded(lines)), 0.01),
        Target("SenML, JSON and CBOR", _senml, either(damaged(senml), reworded(senml), as_it_is), 0.12),
        Target("plan, TOML", _toml(parse_plan), either(damaged(plan), reworded(plan)), 0.03),
        Target("table of plans, CSV", _toml(read_plan_table), either(damaged(plans), reworded(plans)), 0.01),
        Target("bench file, TOML", _toml(parse_bench), either(damaged(bench), reworded(bench)), 0.03),
        Target("recorded table, CSV", _table, either(damaged(tables), reworded(tables), as_it_is), 0.03),
        Target("standing of a device, JSON", _standing, either(damaged(documents), reworded(documents)), 0.05),
        Target("request on the control socket", _request, either(damaged(documents), as_it_is), 0.05),
        Target("block of a store", _block, either(damaged((block,)), as_it_is), 0.03),
    ]
