"""Records readings until killed, announcing each on stdout once it is committed."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from conftest import StandingClock, header, reading

from harness.store import open_store

path, run_id = sys.argv[1:]
with open_store(path) as store:
    recorder = store.begin(header(run_id), StandingClock())
    for index in range(1_000_000):
        recorder.record(reading(index, samples=200))
        print(index, flush=True)
