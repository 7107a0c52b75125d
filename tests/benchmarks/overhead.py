"""What the harness costs on the wire: against bare libraries, against the physics, and against a plain script.

Run: python -m tests.benchmarks.overhead

overhead_wire: a sweep of the simulated bench without latencies over SOCKET, HiSLIP and a pseudo-terminal, against a
bare pyvisa and pyserial loop that does the very same exchanges, as taped, and one bare durable commit a record.
overhead_realistic: the same sweep with 0.5 ms an answer, 5 ms a relay, 1 ms a word, 5 ms a record, against the least
sum of these that the rules of safety leave, however few or many answers the sweep takes: for a setting the level (where
it changes), the setting and the record, each of which must have been answered before the next may begin; for a range
the source off, the range (the level is set meanwhile), the source on, and the record. `over_one_answer` is against a
sum with a single answer a reading, which no order that keeps the rules can reach.
held_over_levelled: waits of the sweep with `ladder.hold_level`, over those of the same without.
waits_over_floor: the same sweep in memory on a clock that only waiting moves: what its order of exchanges costs beyond
that sum, with no computing in it; the same on every machine.
least_readings_over_floor: the same with each reading the shortest of all sweeps, which a busy machine spoils less.
versus_script: the same settings by the script that a user would write first: fixed sleeps, one query a command, a
record fetched in raw codes, a sine fitted, a line of CSV.
"""

from __future__ import annotations

import contextlib
import csv
import itertools
import re
import sqlite3
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from unittest import mock

import numpy as np

from harness.app import bench_open
from harness.app.run import RunRequest, new_header, plan_of
from harness.app.setup import Setup, read_setup
from harness.app.wire_bench import served_bench
from harness.bench import Link
from harness.config import InstrumentSlot
from harness.drivers import open_link
from harness.store import open_store
from harness.sweep import sweep
from harness.values import Reading

JOB = """\
kind = "job"
version = 1
name = "overhead"
device = "{configs}/devices/skerry-hr-4.toml"
bench = "{bench}"
limits = "{configs}/limits/skerry-hr-4.toml"
transport = "wire"

[[change]]
version = 1
date = 2026-01-01
owner = "o"
reason = "r"

[ladder]
channels = [1]
coarse = ["20V", "2V", "200mV", "20mV"]
directions = ["up"]
"""
CONFIGS = Path("configs").resolve()
NO_LATENCY = {
    "latency_s": 0.0, "complete_s": 0.0, "relay_complete_s": 0.0, "fine_complete_s": 0.0,
    "bounce_s": 0.0, "relay_tau_s": 1e-6, "fine_tau_s": 1e-6, "settle_tau_s": 1e-6,
}  # fmt: skip
"""Nothing waits, so nothing may need to settle either."""
REALISTIC = {"latency_s": 0.0005, "complete_s": 0.0, "relay_complete_s": 0.005, "fine_complete_s": 0.001}
RECORD_S = 0.005
SLEEP_RANGE_S, SLEEP_FINE_S, SLEEP_LEVEL_S = 0.05, 0.02, 0.02
"""What a script sleeps to be on the safe side: above each wait of the device, as nobody reads its data sheet twice."""
REPEATS = 5


@dataclass
class Exchange:
    """One message and what came back."""

    role: str
    message: bytes
    reply: bytes = b""
    block: bool = False


@dataclass
class Tape:
    """Everything that a sweep said to its bench."""

    exchanges: list[Exchange] = field(default_factory=list)

    def link(self, inner: Link, role: str) -> Link:
        """A link that is taped."""
        return _TapedLink(inner, role, self)


class _TapedLink:
    def __init__(self, inner: Link, role: str, tape: Tape) -> None:
        self._inner, self._role, self._tape = inner, role, tape
        self._last = Exchange(role, b"")  # of this link: others may be spoken to before its answer comes

    def __getattr__(self, name: str) -> object:
        return getattr(self._inner, name)

    def write(self, message: bytes) -> None:
        self._last = Exchange(self._role, message)
        self._tape.exchanges.append(self._last)
        self._inner.write(message)

    def read_line(self) -> bytes:
        line = self._inner.read_line()
        self._last.reply += line + b"\n"
        self._last.block = self._last.block or b";#" in line
        return line

    def read_exactly(self, count: int) -> bytes:
        data = self._inner.read_exactly(count)
        self._last.reply += data
        self._last.block = True
        return data


def _setup(folder: Path, truth: dict[str, float], *, record_s: float | None = None, hold: bool = False) -> Setup:
    """The demo's device on a bench with other latencies; with `hold` levels stay where they may."""
    text = (CONFIGS / "benches/simulated.toml").read_text().replace('"../', f'"{CONFIGS}/')
    for name, value in truth.items():
        text = re.sub(rf"^{name} = \S+", f"{name} = {value}", text, flags=re.MULTILINE)
    bench = folder / "bench.toml"
    bench.write_text(text)
    device = (CONFIGS / "devices/skerry-hr-4.toml").read_text()
    job = JOB
    if record_s is not None:
        samples = round(record_s * 500e3)
        assert f"samples = {4000}" in device
        device = device.replace("samples = 4000", f"samples = {samples}").replace("cycles = 17", "cycles = 11")
        job = job.replace("{configs}/devices/skerry-hr-4.toml", str(folder / "device.toml"))
    settled = re.sub(r"^(coarse_s|fine_s) = \S+", r"\1 = 0.0", device, flags=re.MULTILINE)
    (folder / "device.toml").write_text(settled)
    job = job.replace("{configs}/devices/skerry-hr-4.toml", str(folder / "device.toml"))
    job += "hold_level = true\n" if hold else ""
    (folder / "job.toml").write_text(job.format(configs=CONFIGS, bench=bench))
    return read_setup(str(folder / "job.toml"))


@contextlib.contextmanager
def _taped(setup: Setup, tape: Tape | None) -> Iterator[bench_open.OpenBench]:
    def opened(slot: InstrumentSlot, *, role: str) -> Link:
        link = open_link(slot, role=role)
        return tape.link(link, role) if tape else link

    with (
        mock.patch.object(bench_open, "open_link", opened),
        bench_open.open_bench(setup.bench, setup.device, transport="wire", seed=1, faults=()) as bench,
    ):
        if tape:
            tape.exchanges.clear()
        yield bench


@dataclass(frozen=True)
class Swept:
    """How long a sweep with its store took."""

    whole_s: float
    """From its first command to the last commit."""
    readings_s: list[float]
    """From the start of each reading of the ladder to that of the next, of the last to the end."""
    computing_s: float
    """Of this process, all its threads, over the ladder."""

    @property
    def ladder_s(self) -> float:
        """Without what comes before the first reading: preparing, and the checks of the station."""
        return sum(self.readings_s)


def _sweep(setup: Setup, folder: Path, tape: Tape | None = None) -> Swept:
    store_path = folder / f"{time.monotonic_ns()}.sqlite"
    told: list[Reading] = []
    computing_s: list[float] = []

    def progress(done: int, reading: Reading) -> None:
        del done
        computing_s.append(time.process_time())
        told.append(reading)

    with _taped(setup, tape) as opened, open_store(str(store_path)) as store:
        header = new_header(setup, opened, RunRequest(unit="U", operator="o", faults=()))
        recorder, clock = store.begin(header, clock=opened.bench.clock), opened.bench.clock
        start_s = clock.now_s()
        sweep(opened.bench, plan_of(setup), recorder, progress=progress)
        end_s = clock.now_s()
        tries = sum(1 for _ in store.readings(header.run_id))
    if tries != len(setup.rungs):
        raise SystemExit(f"{tries} readings recorded, {len(setup.rungs)} planned: something was retried")
    edges_s = [*(reading.started_s for reading in told), end_s]
    return Swept(
        whole_s=end_s - start_s,
        readings_s=[later - earlier for earlier, later in itertools.pairwise(edges_s)],
        computing_s=(computing_s[-1] - computing_s[0]) * len(told) / (len(told) - 1),
    )


def least_s(sweeps: Sequence[Swept]) -> float:
    """The ladder of which each reading is the shortest of several sweeps: what else the machine does strikes few."""
    return sum(map(min, zip(*(swept.readings_s for swept in sweeps), strict=True)))


def _bare_s(setup: Setup, folder: Path, tape: Tape) -> float:
    """The same exchanges by the libraries alone, and as many durable commits."""
    database = sqlite3.connect(folder / f"{time.monotonic_ns()}.sqlite")
    database.execute("PRAGMA journal_mode=WAL")
    database.execute("PRAGMA synchronous=FULL")
    database.execute("CREATE TABLE reading (codes BLOB)")
    with _bare_links(setup) as links:
        start = time.perf_counter()
        for exchange in tape.exchanges:
            links[exchange.role](exchange)
            if exchange.role == "device" and exchange.block:
                with database:
                    database.execute("INSERT INTO reading VALUES (?)", (exchange.reply,))
        took_s = time.perf_counter() - start
    database.close()
    return took_s


@contextlib.contextmanager
def _bare_links(setup: Setup) -> Iterator[dict[str, object]]:
    import pyvisa
    import serial

    from harness.drivers.visa_carrier import session_socket

    manager = pyvisa.ResourceManager("@py")
    with served_bench(setup.bench.path, seed=1, faults=()) as addresses, contextlib.ExitStack() as stack:
        links: dict[str, object] = {}
        for role in ("source", "device"):
            resource = manager.open_resource(addresses[role])
            stack.callback(resource.close)
            resource.timeout = 5000
            resource.read_termination = resource.write_termination = "\n"
            connection = session_socket(resource)
            if connection is not None and addresses[role].endswith("SOCKET"):
                import socket

                # The yardstick gets what spares it the peer's delayed acknowledgements.
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            links[role] = _visa_speaker(resource)
        port = stack.enter_context(serial.serial_for_url(addresses["adapter"], timeout=5.0))
        links["adapter"] = _serial_speaker(port)
        yield links


def _visa_speaker(resource):  # type: ignore[no-untyped-def]
    def speak(exchange: Exchange) -> None:
        text = exchange.message.decode().rstrip("\n")
        if not exchange.reply:
            resource.write(text)
        elif exchange.block:
            resource.write(text)
            # Exactly as many bytes as the block says: a line feed in it is no end.
            resource.read_bytes(len(exchange.reply), break_on_termchar=False)
        else:
            resource.query(text)

    return speak


def _serial_speaker(port):  # type: ignore[no-untyped-def]
    def speak(exchange: Exchange) -> None:
        port.write(exchange.message)
        if exchange.block:
            # A definite length block: '#', how many digits, the length, the bytes, a line feed.
            digits = int(port.read(2)[1:2])
            port.read(int(port.read(digits)))
        # An adapter answers each message with a line; that of a block ends behind it.
        for _ in range(exchange.message.count(b"\n")):
            port.readline()

    return speak


def _script_s(setup: Setup, folder: Path) -> float:
    """The plain script."""
    import pyvisa

    manager = pyvisa.ResourceManager("@py")
    device = setup.device
    rate_hz, cycles = device.acquisition.sample_rate_hz, device.acquisition.cycles
    with (
        served_bench(setup.bench.path, seed=1, faults=()) as addresses,
        manager.open_resource(addresses["source"]) as source,
        manager.open_resource(addresses["device"]) as dut,
        (folder / f"{time.monotonic_ns()}.csv").open("w", newline="") as file,
    ):
        for resource in (source, dut):
            resource.timeout = 5000
            resource.read_termination = resource.write_termination = "\n"
        start = time.perf_counter()
        table = csv.writer(file)

        def tell(resource, text):  # type: ignore[no-untyped-def]
            resource.write(text)
            resource.query("*OPC?")

        for text in ("*CLS", "FUNC SIN", "VOLT:OFFS 0", "OUTP:LOAD INF", f"FREQ {device.acquisition.frequency_hz}"):
            tell(source, text)
        for text in ("*CLS", "ACQ:MODE SAMP", f"ACQ:POIN {device.acquisition.samples}", f"ACQ:SRAT {rate_hz}"):
            tell(dut, text)
        last = None
        for rung in setup.rungs:
            coarse, fine = device.coarse[rung.setting.coarse], rung.setting.fine
            if coarse.name != last:
                tell(source, "OUTP OFF")
                tell(dut, f"INP1:RANG {coarse.full_scale_vpp}")
                time.sleep(SLEEP_RANGE_S)
                last = coarse.name
            tell(dut, f"INP1:FINE {100.0 - 3.0 * fine:g}")
            time.sleep(SLEEP_FINE_S)
            tell(source, f"VOLT {2.0 * rung.drive_vpk:.6g}")
            tell(source, "OUTP ON")
            time.sleep(SLEEP_LEVEL_S)
            tell(dut, "ACQ:CHAN 1")
            tell(dut, "INIT")
            codes = dut.query_binary_values("FETC:CODE?", datatype="h", container=np.array)
            angle = 2 * np.pi * cycles * np.arange(len(codes)) / len(codes)
            columns = np.stack((np.sin(angle), np.cos(angle), np.ones(len(codes))), axis=1)
            a, b, _ = np.linalg.lstsq(columns, codes, rcond=None)[0]
            table.writerow([coarse.name, fine, float(np.hypot(a, b)), float(np.hypot(a, b)) / rung.drive_vpk])
            file.flush()
        tell(source, "OUTP OFF")
        return time.perf_counter() - start


def floor_s(setup: Setup, *, answers: int | None = None) -> float:
    """Latencies, settling and records below which no order of exchanges can go that keeps the rules of safety.

    With `answers` so many for every reading instead.
    """
    total_s, before = 0.0, None
    for rung in setup.rungs:
        other_range = before is None or before.setting.coarse != rung.setting.coarse
        controls = setup.device.coarse[rung.setting.coarse].controls
        moves_relay = before is None or setup.device.coarse[before.setting.coarse].controls != controls
        # Off, range, on, record; or level, setting, record.
        needed = 4 if other_range else 2 + (rung.drive_vpk != before.drive_vpk)
        total_s += (needed if answers is None else answers) * REALISTIC["latency_s"] + RECORD_S
        total_s += REALISTIC["relay_complete_s"] if moves_relay else REALISTIC["fine_complete_s"]
        before = rung
    return total_s


def waited_s(setup: Setup) -> float:
    """The ladder on a clock that only waiting moves, from its first reading to the end of its last."""
    kept = _Kept([])
    with bench_open.open_bench(setup.bench, setup.device, transport="in-process", seed=1, faults=()) as opened:
        sweep(opened.bench, plan_of(setup), kept, progress=lambda done, reading: None)
    first, last = kept.readings[0], kept.readings[-1]
    return last.started_s + last.duration_s - first.started_s


@dataclass
class _Kept:
    """A recorder in memory."""

    readings: list[Reading]

    def record(self, reading: Reading) -> None:
        self.readings.append(reading)

    def note(self, kind: str, text: str) -> None:
        pass


def measure() -> dict[str, float]:
    """Ratios, and the milliseconds a reading behind them."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        setup = _setup(folder, NO_LATENCY)
        count = len(setup.rungs)
        tape = Tape()
        _sweep(setup, folder, tape)
        # Turn by turn, so that whatever else the machine does strikes both alike.
        pairs = [(_sweep(setup, folder).whole_s, _bare_s(setup, folder, tape)) for _ in range(REPEATS)]
        ours_s, bare_s = (min(times_s) for times_s in zip(*pairs, strict=True))
        real = _setup(folder, REALISTIC, record_s=RECORD_S)
        real_tape = Tape()
        _sweep(real, folder, real_tape)
        sweeps = [_sweep(real, folder) for _ in range(REPEATS)]
        real_s = min(swept.ladder_s for swept in sweeps)
        script_s = min(_script_s(real, folder) for _ in range(2))
        physics_s = floor_s(real)
        one_answer_s = floor_s(real, answers=1)
        waits_s = waited_s(real)
        held_s = waited_s(_setup(folder, REALISTIC, record_s=RECORD_S, hold=True))
    return {
        "overhead_wire": ours_s / bare_s,
        "overhead_realistic": real_s / physics_s,
        "over_one_answer": real_s / one_answer_s,
        "least_readings_over_floor": least_s(sweeps) / physics_s,
        "waits_over_floor": waits_s / physics_s,
        "held_over_levelled": held_s / waits_s,
        "versus_script": real_s / script_s,
        "sweep_ms_a_reading": 1e3 * ours_s / count,
        "bare_ms_a_reading": 1e3 * bare_s / count,
        "realistic_ms_a_reading": 1e3 * real_s / count,
        "physics_ms_a_reading": 1e3 * physics_s / count,
        "computing_ms_a_reading": 1e3 * min(swept.computing_s for swept in sweeps) / count,
        "before_the_ladder_ms": 1e3 * min(swept.whole_s - swept.ladder_s for swept in sweeps),
        "script_ms_a_reading": 1e3 * script_s / count,
        "answers_a_reading": sum(bool(e.reply) for e in real_tape.exchanges) / count,
    }


if __name__ == "__main__":
    for label, value in measure().items():
        print(f"{label:28s} {value:10.3f}")
