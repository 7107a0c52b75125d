"""A run of 10,000 settings from its record: how long judge and page take, how heavy the page is; the suite over it.

Run: python -m tests.benchmarks.whole_run; it sweeps a simulated bench first, which takes some minutes. Times are of the
processor, so that another process does not count; the browser's and the suite's are by the clock.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from harness import report
from harness.app.closer_look import detail_of
from harness.app.run import judge_of
from harness.app.setup import setup_of_run
from harness.store import open_store
from tests.browser import MISSING, chromium

ROOT = Path(__file__).resolve().parents[2]
FINE = 227
"""With 4 channels and 11 ranges these are 9,988 settings."""
SUITE_TESTS = 2000
"""Empty tests, for what pytest itself takes for one."""


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


def _suite_s(*arguments: str, folder: Path) -> tuple[float, int]:
    """Time of the tests alone, and how many there were."""
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "--tb=no", "-r", "N", *arguments]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    said = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True).stdout
    counts = [int(number) for number in re.findall(r"(\d+) (?:passed|failed|skipped|errors?)", said)]
    return float(re.findall(r"in ([\d.]+)s", said)[-1]), sum(counts)


def measure() -> dict[str, float]:
    """Figures of judge, page and suite."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        job, store_file, page = _files(folder), folder / "s.sqlite", folder / "page.html"
        _sweep(job, store_file, folder)
        with open_store(str(store_file), read_only=True) as store:
            header = store.header(store.resolve("last"))
            judge = judge_of(setup_of_run(header))
            _, take_s = _timed(lambda: [judge.take(reading) for reading in store.readings(header.run_id)])
            result, first_s = _timed(lambda: judge.result(store.events(header.run_id)))
            again, again_s = _timed(lambda: judge.result(store.events(header.run_id)))
            text, page_s = _timed(lambda: report.html(header, again, (), detail_of(store, header, result)))
        page.write_text(text, encoding="utf-8")
        figures = {
            "settings": float(len(result.settings)), "read_and_measure_s": take_s, "judge_first_s": first_s,
            "judge_run_s": again_s, "page_s": page_s, "page_mb": len(text.encode()) / 1e6,
        }  # fmt: skip
        if not MISSING:
            figures["page_open_s"] = _opened_s(page)
        (folder / "test_empty.py").write_text(
            f"import pytest\n@pytest.mark.parametrize('n', range({SUITE_TESTS}))\ndef test_it(n):\n    pass\n"
        )
        shutil.copy(ROOT / "tests/bench/test_acceptance.py", folder)
        bare_s, bare = _suite_s("test_empty.py", folder=folder)
        small = folder / "ci.sqlite"
        _sweep(ROOT / "configs/jobs/demo.toml", small, folder)
        run = ("test_acceptance.py", "--run", "last", "--store", str(small))
        once_s, claims = _suite_s(*run, folder=folder)
        figures |= {"suite_claims": float(claims), "suite_s": once_s, "bare_ms_per_test": 1e3 * bare_s / bare}
        figures["suite_ms_per_claim"] = 1e3 * (once_s / max(claims, 1) - bare_s / bare)
        return figures


if __name__ == "__main__":
    for figure, value in measure().items():
        print(f"{figure:28s} {value:10.3f}")
