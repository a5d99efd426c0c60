"""The live service: the daemon of one bench or several, and the summaries of their trials."""

import os
import time
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from emberline import __version__
from emberline.app.output import make_folder
from emberline.app.stored import STORE_NAME, analysis_of, local_zone
from emberline.app.summaries import write_summary
from emberline.bench.bench_file import Bench, SerialPort
from emberline.config import ConfigError, broker_access, broker_named, check_certificate, load_bench
from emberline.heat.result import QualityNote
from emberline.store.errors import StoreDamagedError, StoreReplacedError
from emberline.store.reader import StoreReader
from emberline.store.store import Store
from emberline.store.upkeep import KEEP_DAYS
from emberline.trials.documents import summary_document

if TYPE_CHECKING:
    from emberline.service.daemon import Daemon
    from emberline.service.final_pass import Summed
    from emberline.service.lane import BenchSetting
    from emberline.service.sharding import Shard, Sharding
    from emberline.service.sources import Places
    from emberline.service.supervisor import Work
    from emberline.web.server import Address

PUBLISH_LIMIT_S = 300.0
MOST_RESTARTS, WITHIN_S = 3, 60.0
"""A disk that damages a new store again and again within this time is given up."""


async def serve(
    data: Path,
    *,
    bench_files: Sequence[Path] = (),
    port: str | None = None,
    broker: str | None = None,
    shard: str | None = None,
    speed: float = 1.0,
    name: str = "bench",
    beside: "Callable[[Daemon], Awaitable[None]] | None" = None,
    keep_days: float | None = KEEP_DAYS,
    address: "Address | None" = None,
    server_file: Path | None = None,
    alarms_file: Path | None = None,
    stopping: Callable[[], None] = lambda: None,
    served: Callable[[str], None] = lambda _: None,
) -> None:
    """Run a daemon until it is told to stop.

    It begins anew by itself where the store turns out to be damaged, which is set aside, and where the machine's clock
    is set forward while no trial is open.

    Args:
        data: Data directory; made where it does not exist.
        bench_files: The benches, or folders of them; without any, there is one whose device's channel names are taken
            for roles.
        port: Serial port, instead of the bench file's.
        broker: MQTT broker as `HOST` or `HOST:PORT`, instead of what the bench files name; one for all of them.
        shard: Which shard of all benches is this daemon's, such as `2/8`: files that describe others are passed over,
            and those that nobody describes are learnt from the broker. None for all that is described, and no others.
        speed: Seconds of the benches in a second; more than 1 only for simulated ones.
        name: Id of the bench where no bench file gives one.
        beside: Runs beside the daemon, and stops it when it returns.
        keep_days: Age at which samples outside trials go; None keeps all.
        address: Where pages are served; None for nowhere.
        server_file: Names a time-series server to which everything is forwarded; None for none.
        alarms_file: Says how alarms reach people who are not looking; None for not at all.
        stopping: Called when a signal asks for the end.
        served: Called with the pages' address once they are served.

    Raises:
        ConfigError: A bench file or the server's has problems, or names neither port nor broker, or what is another
            bench's.
        StoreError: The store cannot be opened.
        ServiceError: A part of the daemon failed for good.
    """
    from emberline.service.clock import fast_clock
    from emberline.service.clock_watch import clock_after
    from emberline.service.daemon import Daemon, Setting, stopped_by_signals
    from emberline.service.delivery.delivery_file import Delivery, load_delivery
    from emberline.service.delivery.ways import ways_of
    from emberline.service.errors import TaskFailedError
    from emberline.service.forwarding.forwarder import Forwarder
    from emberline.service.forwarding.server_file import load_server
    from emberline.service.sharding import shard_named
    from emberline.web.server import serve_pages

    files = _files(bench_files)
    sharding = None if shard is None else _sharding(shard_named(shard), files, port, broker)
    benches = (
        _benches(files, port, broker, name) if sharding is None else _sharded_benches(sharding, data, files, broker)
    )
    server = None if server_file is None else load_server(server_file, os.environ)
    delivery = Delivery() if alarms_file is None else load_delivery(alarms_file, os.environ)
    ways = () if alarms_file is None else ways_of(delivery, alarms_file)
    make_folder(data)
    damage, restarts_s = "", [float("-inf")] * MOST_RESTARTS
    while True:
        clock = clock_after(data / STORE_NAME) if speed == 1.0 else fast_clock(speed, data)
        store = Store.open_or_begin_anew(data / STORE_NAME, clock.now_ns, damage)
        setting = Setting(data, benches, local_zone(), keep_days, delivery, ways)
        daemon = Daemon(setting, store, clock, partial(live_summary, data))
        also: dict[str, Work] = {}
        if address is not None:
            also["pages"] = partial(serve_pages, daemon, address, __version__, partial(_publish, data), served)
        if server is not None:
            daemon.forwarding = Forwarder(store, daemon.boards, server, daemon.health)
            also["forwarding"] = daemon.forwarding.run
        if sharding is not None:
            also["shards"] = partial(sharding.look_out, data, clock, daemon)
        try:
            with stopped_by_signals(daemon, stopping):
                await daemon.run(None if beside is None else partial(beside, daemon), also)
        except TaskFailedError as error:
            cause = error.__cause__
            restarts_s = [*restarts_s[1:], time.monotonic()]
            if not isinstance(cause, StoreDamagedError | StoreReplacedError):
                raise
            if restarts_s[-1] - restarts_s[0] < WITHIN_S:
                raise
            damage = str(cause) if isinstance(cause, StoreDamagedError) else ""
        else:
            if not daemon.again:
                return
            damage = ""


def _files(named: Sequence[Path]) -> list[Path]:
    """Return the bench files that are named, those of folders in order of their names."""
    found = []
    for path in named:
        inside = sorted(path.glob("*.toml")) if path.is_dir() else [path]
        if not inside:
            raise ConfigError(path, f"{path} holds no bench file: their names end in .toml")
        found += inside
    return found


def _sharding(shard: "Shard", files: Sequence[Path], port: str | None, broker: str | None) -> "Sharding":
    """Return how the benches of a shard are come by: on the broker that is named, else that of the first file."""
    from emberline.service.sharding import Sharding

    if port is not None:
        raise ConfigError(Path(port), "--port is for one bench: a shard of all benches is found on a broker")
    described = ((load_bench(file), file.parent) for file in files)
    bench, folder = next((one for one in described if one[0].broker is not None), (None, Path()))
    access = _places(bench, folder, None, broker).broker
    if access is None:
        raise ConfigError(Path(f"{shard}"), "a shard of all benches is found on a broker: name it with --broker")
    return Sharding(shard, access)


def _sharded_benches(
    sharding: "Sharding", data: Path, files: Sequence[Path], broker: str | None
) -> "tuple[BenchSetting, ...]":
    """Return the benches of a shard: those that are described, and those that were recorded before."""
    own = [file for file in files if sharding.shard.holds(load_bench(file).id)]
    described = _benches(own, None, broker, "") if own else ()
    ids = {one.bench_id for one in described}
    return (*described, *(one for one in sharding.known(data) if one.bench_id not in ids))


def _benches(files: Sequence[Path], port: str | None, broker: str | None, name: str) -> "tuple[BenchSetting, ...]":
    """Return the benches that are to be recorded, each with the place of its device."""
    from emberline.service.lane import BenchSetting

    if len(files) > 1 and port is not None:
        raise ConfigError(files[1], "--port is for one bench: with several, name each one's port in its bench file")
    found: dict[str, tuple[BenchSetting, Path]] = {}
    for file in files or (None,):
        bench = None if file is None else load_bench(file)
        bench_id, source = (name, Path()) if bench is None or file is None else (bench.id, file)
        places = _places(bench, source.parent, port, broker)
        if places.port is None and places.broker is None:
            raise ConfigError(
                source,
                f"{bench_id}: neither a serial port nor a broker is named: add [serial] or [mqtt] to the bench file, or"
                " give --port or --broker",
            )
        if bench_id in found:
            raise ConfigError(
                source, f"{source} and {found[bench_id][1]} both describe bench {bench_id}: give each an id of its own"
            )
        for other, other_source in found.values():
            if places.port is not None and other.places.port is not None and _same(places.port, other.places.port):
                raise ConfigError(
                    source, f"{source} and {other_source} name the same serial port: one device serves one bench"
                )
        found[bench_id] = BenchSetting(bench_id, places, bench), source
    return tuple(setting for setting, _ in found.values())


def _same(port: SerialPort, other: SerialPort) -> bool:
    if port.port is not None or other.port is not None:
        return port.port == other.port
    return (port.vendor_id, port.product_id, port.serial_number) == (
        other.vendor_id,
        other.product_id,
        other.serial_number,
    )


def _places(bench: Bench | None, folder: Path, port: str | None, broker: str | None) -> "Places":
    """Return where readings come from: what is named on the command line, else what the bench file names."""
    from emberline.service.sources import Places

    serial = None if bench is None else bench.serial
    if port is not None:
        serial = replace(serial or SerialPort(), port=port)
    known = None if bench is None else bench.broker
    if broker is not None:
        known = broker_named(broker, known)
        serial = serial if port is not None else None
    return Places(serial, None if known is None else broker_access(known, folder, os.environ))


async def _publish(data: Path, trial: str, name: str) -> bytes:
    from emberline.app.publishing import published
    from emberline.service.apart import called_apart

    return await called_apart(published, data, trial, name, name="making that file", limit_s=PUBLISH_LIMIT_S)


def address_of(text: str, certificate: Path | None = None, key: Path | None = None) -> "Address":
    """Return where `HOST:PORT` has pages served; a host with colons stands in square brackets (RFC 3986, 3.2.2).

    Args:
        text: Host and port.
        certificate: File with the certificate by which they are served encrypted; None for plain HTTP.
        key: File with its key; None where the certificate's own file holds it.

    Raises:
        ConfigError: The text is neither, or certificate and key cannot be used.
    """
    from emberline.web.server import Address

    host, _, port = text.rpartition(":")
    if not host or not port.isdecimal() or int(port) > 65_535 or (":" in host) != host.startswith("["):
        raise ConfigError(Path(text), f"{text!r} is no HOST:PORT: write it like 127.0.0.1:8437 or [::1]:8437")
    if certificate is None and key is not None:
        raise ConfigError(key, "a key alone encrypts nothing: name its certificate with --tls-certificate")
    if certificate is not None:
        check_certificate(certificate, key)
    return Address(host.strip("[]"), int(port), certificate, key)


def live_summary(data: Path, trial_id: str, provisional: bool) -> "Summed":
    """Work out the summary of a live trial and write its files; called in a process of its own.

    Args:
        data: Data directory.
        trial_id: Id of the trial.
        provisional: Whether the trial goes on.

    Raises:
        StoreError: The samples cannot be read.
        OutputError: The files cannot be written.
    """
    from emberline.reports.content import budget_rows
    from emberline.service.final_pass import Summed

    store = StoreReader(data / STORE_NAME)
    trial = store.trial(trial_id)
    analysis = analysis_of(store, trial)
    if provisional:
        note = QualityNote("provisional", "This summary is provisional: the char still glows and the record goes on.")
        analysis = replace(analysis, quality=(note, *analysis.quality))
    summary = write_summary(trial, analysis, summary_document(analysis), data)
    advice = tuple(row.advice for row in budget_rows(analysis) if row.advice)
    events, retracted = analysis.events, analysis.retracted
    return Summed(summary.text, __version__, events, retracted, summary.page, summary.listing, advice, trial.additions)
