"""The most memory that a process takes: a whole sweep with its judgement and page, and decoding of a long capture.

Run: python -m tests.benchmarks.memory

sweep_memory_mb: `gainladder sweep` of the demo in memory, 1848 readings, from its start to its page.
decode_memory_mb: 100 million packed samples that come in pieces; decode_memory_growth: over ten million of them.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

SWEEP = """
import resource, sys
from harness.app import main
sys.argv = ["gainladder", "sweep", {job!r}, "--unit", "A1", "--seed", "1", "--store", {store!r}, "--reports", {pages!r}]
try:
    main.main()
finally:
    print("PEAK", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""
DECODE = """
import resource
from harness.bus import BusStream, PackedReader
from tests.benchmarks.decode import CHUNK, RATE_HZ, WIRING, traffic
piece = traffic(CHUNK, busy_ratio=0.15)
reader, stream = PackedReader(RATE_HZ), None
for _ in range({pieces}):
    edges = reader.take(piece)
    if stream is None:
        stream = BusStream(WIRING, initial=reader.initial, tick_ns=reader.tick_ns)
    stream.feed(edges)
stream.close()
print("PEAK", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""
JOBS = Path(__file__).resolve().parents[2] / "configs" / "jobs"


def _peak_mb(text: str) -> float:
    ended = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True)
    peak = next((line.split()[1] for line in ended.stdout.splitlines() if line.startswith("PEAK ")), None)
    if peak is None:
        raise SystemExit(f"the process told no peak: {ended.stderr[-2000:]}")
    return float(peak)


def measure() -> dict[str, float]:
    """Peaks in megabytes, and how much more ten times the samples take."""
    with tempfile.TemporaryDirectory() as folder:
        words = {"job": str(Path(folder, "job.toml")), "store": str(Path(folder, "s.sqlite")), "pages": folder}
        text = (JOBS / "demo.toml").read_text().replace('"../', f'"{JOBS.parent}/')
        Path(words["job"]).write_text(text.replace('"wire"', '"in-process"'))
        sweep_mb = _peak_mb(SWEEP.format(**words))
    short_mb, long_mb = (_peak_mb(DECODE.format(pieces=pieces)) for pieces in (1, 12))
    return {
        "sweep_memory_mb": sweep_mb,
        "decode_memory_mb": long_mb,
        "decode_memory_growth": long_mb / short_mb,
    }


if __name__ == "__main__":
    for name, value in measure().items():
        print(f"{name:28s} {value:10.3f}")
