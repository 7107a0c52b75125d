"""A run of 10,000 settings from its record: how long judge and page take, how heavy the page is; the suite over it.

Run: python -m tests.benchmarks.whole_run; it sweeps a simulated bench first, which takes some minutes. Times are of the
processor, so that another process does not count; the browser's are by the clock. The suite decides about a whole demo:
`suite_ms_per_claim` is what it takes above as many empty tests, once the numbers of the run are kept,
`suite_first_ms_per_claim` before; `suite_own_ms_per_claim` the part of it that is not the judging of the record, which
`gainladder judge` needs as well.
"""

from __future__ import annotations

import os
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from harness import report
from harness.app.closer_look import detail_of
from harness.app.collector import collector_paused
from harness.app.kept_facts import KeptFacts
from harness.app.run import judge_of
from harness.app.setup import setup_of_run
from harness.store import Store, open_store
from harness.values import RunHeader, RunResult
from tests.browser import MISSING, chromium

ROOT = Path(__file__).resolve().parents[2]
FINE = 227
"""With 4 channels and 11 ranges these are 9,988 settings."""
def _swap(file: Path, *pairs: tuple[str, str]) -> None:
    text = file.read_text()
    for pattern, new in pairs:
        text, found = re.subn(pattern, new, text, count=1, flags=re.MULTILINE)
        if not found:
            raise SystemExit(f"{file.name} has no line {pattern}")
    file.write_text(text)


def _files(folder: Path) -> Path:
    """The demo device with many fine positions, and its job."""
    shutil.copytree(ROOT / "configs", folder / "configs")
    _swap(folder / "configs/devices/skerry-hr-4.toml", (r"^count = 21", f"count = {FINE}"))
    _swap(folder / "configs/benches/simulated.toml", (r"^fine_count = 21", f"fine_count = {FINE}"))
    job = folder / "configs/jobs/ci.toml"
    _swap(job, (r"^channels = .*", "channels = [1, 2, 3, 4]"), (r"^fine = .*\n", ""))
    _swap(job, (r"^directions = .*", 'directions = ["up"]'))
    return job


def _sweep(job: Path, store: Path, folder: Path) -> None:
    command = [sys.executable, "-m", "harness.app.main", "sweep", str(job), "--unit", "A1", "--seed", "1"]
    command += ["--store", str(store), "--reports", str(folder)]
    done = subprocess.run(command, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True)
    if done.returncode not in (0, 1):
        raise SystemExit(done.stderr)


def _timed(work):
    before = time.process_time()
    made = work()
    return made, time.process_time() - before


def _opened_s(file: Path) -> float:
    """From the address to the load event, the better of two."""
    with chromium() as browser:
        times = []
        for _ in range(2):
            page = browser.new_page()
            before = time.perf_counter()
            page.goto(file.as_uri())
            times.append(time.perf_counter() - before)
            page.close()
    return min(times)


def _child(*arguments: str, folder: Path, cache: str) -> tuple[list[float], str]:
    """Times of a Python process, the first with an empty cache, the second with what that one kept; what it said."""
    times = []
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "XDG_CACHE_HOME": str(folder / cache)}
    for _ in range(2):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        done = subprocess.run([sys.executable, *arguments], cwd=folder, env=environment, capture_output=True, text=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        times.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return times, done.stdout


def _suite(folder: Path) -> dict[str, float]:
    shutil.copy(ROOT / "tests/bench/test_acceptance.py", folder)
    file = str(folder / "demo.sqlite")
    _sweep(ROOT / "configs/jobs/demo.toml", Path(file), folder)
    quiet = ("-m", "pytest", "-q", "-p", "no:cacheprovider", "--tb=no", "-r", "N")
    of_run = ("test_acceptance.py", "--run", "last", "--store", file)
    (first_s, again_s), said = _child(*quiet, *of_run, folder=folder, cache="suite")
    claims = sum(int(number) for number in re.findall(r"(\d+) (?:passed|failed|skipped|errors?)", said))
    (folder / "test_empty.py").write_text(
        f"import pytest\n@pytest.mark.parametrize('n', range({claims}))\ndef test_it(n):\n    pass\n"
    )
    bare_s = min(_child(*quiet, "test_empty.py", folder=folder, cache="none")[0])
    names = "import fixtures.plugin; from harness.app.run import judged; from harness.store import open_store; "
    idle_s = min(_child("-c", names, folder=folder, cache="none")[0])
    judge = f"store = open_store({file!r}, read_only=True); judged(store, store.resolve('last'))"
    judge_s = [time_s - idle_s for time_s in _child("-c", names + judge, folder=folder, cache="judge")[0]]
    return {
        "suite_claims": float(claims), "suite_first_s": first_s, "suite_s": again_s, "suite_bare_s": bare_s,
        "suite_judge_first_s": judge_s[0], "suite_judge_s": judge_s[1],
        "suite_first_ms_per_claim": 1e3 * (first_s - bare_s) / claims,
        "suite_ms_per_claim": 1e3 * (again_s - bare_s) / claims,
        "suite_own_ms_per_claim": 1e3 * (again_s - bare_s - judge_s[1]) / claims,
    }  # fmt: skip


def _decided_from(kept: KeptFacts, store: Store, header: RunHeader) -> RunResult:
    """By the numbers of an earlier command."""
    judge = judge_of(setup_of_run(header))
    judge.recall(kept.read())
    return judge.result(store.events(header.run_id))


def measure() -> dict[str, float]:
    """Figures of judge, page and suite."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        job, store_file, page = _files(folder), folder / "s.sqlite", folder / "page.html"
        _sweep(job, store_file, folder)
        with open_store(str(store_file), read_only=True) as store:
            header = store.header(store.resolve("last"))
            judge = judge_of(setup_of_run(header))
            # As `judged` does it.
            with collector_paused():
                _, take_s = _timed(lambda: [judge.add(reading) for reading in store.readings(header.run_id)])
                result, first_s = _timed(lambda: judge.result(store.events(header.run_id)))
                again, again_s = _timed(lambda: judge.result(store.events(header.run_id)))
                kept = KeptFacts(folder / "whole.facts")
                kept.write(judge.remember())
                _, kept_s = _timed(lambda: _decided_from(kept, store, header))
            text, page_s = _timed(lambda: report.html(header, again, (), detail_of(store, header, result)))
        page.write_text(text, encoding="utf-8")
        figures = {
            "settings": float(len(result.settings)), "read_and_measure_s": take_s, "judge_first_s": first_s,
            "judge_run_s": again_s, "judge_kept_s": kept_s, "page_s": page_s, "page_mb": len(text.encode()) / 1e6,
        }  # fmt: skip
        if not MISSING:
            figures["page_open_s"] = _opened_s(page)
        figures |= _suite(folder)
        return figures


if __name__ == "__main__":
    for figure, value in measure().items():
        print(f"{figure:28s} {value:10.3f}")
