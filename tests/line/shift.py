"""A whole shift in a real browser: `python -m tests.line.shift [--shots DIR]`, six to ten minutes.

30 units, three of them faulty, a retest, a lockout and its lifting, a stop, a pulled cable, a killed server, a
page that is reloaded, one that is closed, and the end of the shift in the middle of a run. Then the record is held
against what happened.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

from harness.store import noted, open_store
from harness.values import ATTEMPT, VERDICT, attempt_of, ended_as_of
from tests.browser import MISSING, chromium
from tests.line.operator import Operator, Server, serials, wait_for
from tests.production_job import CONFIGS, job_text

JOB = job_text(name="shift", ladder="fine = [0, 10, 20]")
RELAY, ARITHMETIC, PULLED = "relay-not-picking:2", "fine-gain-arithmetic:1", "link-closed-by-peer:device=1000@40"


class Shift:
    """A place, its page, its operator."""

    def __init__(self, folder: Path, shots: Path | None) -> None:
        text = (CONFIGS / "lines" / "end-of-test.toml").read_text(encoding="utf-8")
        for name, there in (("job", "job.toml"), ("store", "shift.sqlite"), ("reports", "pages")):
            old = next(line for line in text.splitlines() if line.startswith(f"{name} = "))
            text = text.replace(old, f'{name} = "{there}"')
        (folder / "line.toml").write_text(text, encoding="utf-8")
        (folder / "job.toml").write_text(JOB, encoding="utf-8")
        self.folder, self.shots = folder, shots
        self.faults: dict[str, list[str]] = {}
        self._tell_faults()
        self.server = Server(str(folder / "line.toml"), "--seed", "1", "--unit-faults", str(folder / "faults.toml"))
        self.expected: list[tuple[str, str]] = []
        self.times_s: list[float] = []

    def _tell_faults(self) -> None:
        rows = [f"{unit} = {faults}" for unit, faults in self.faults.items()]
        (self.folder / "faults.toml").write_text("\n".join(rows), encoding="utf-8")

    def has(self, unit: str, *faults: str) -> None:
        """From now on a unit has these faults."""
        self.faults[unit] = list(faults)
        self._tell_faults()

    def unit(self, operator: Operator, unit: str, word: str, outcome: str, *, by: str = "button") -> None:
        """A unit, the word that must fill the screen, and what the record must say."""
        since_s = time.monotonic()
        shown = operator.measure(unit, by=by, name=f"verdict-{word.lower().replace(' ', '-')}")
        self.times_s.append(time.monotonic() - since_s)
        assert shown == word, (unit, shown, word, operator.text("#body"))
        self.expected.append((unit, outcome))
        print(f"{unit}  {shown}", flush=True)

    def golden(self, operator: Operator, word: str) -> None:
        """A check of the golden unit."""
        shown = operator.measure("G1", name=f"verdict-{word.lower().replace(' ', '-')}")
        assert shown == word, (shown, word, operator.text("#body"))
        print(f"G1        {shown}", flush=True)

    def recorded(self) -> list[tuple[str, str]]:
        """Unit and outcome of each counted run that was judged; operators are all the same."""
        with open_store(str(self.folder / "shift.sqlite"), read_only=True) as store:
            lines = noted(store, ATTEMPT, VERDICT)
            ends = {run: ended_as_of((event,)) for run, event in lines if event.kind == VERDICT}
            runs = [(run, attempt_of((event,))) for run, event in lines if event.kind == ATTEMPT]
            for run, _ in runs:
                info = store.info(run)
                assert info.header.operator == "OP101"
                end = ends.get(run)
                if end is not None and str(end.outcome) != "INVALID":
                    assert (info.end, info.readings >= info.header.planned) == ("finished", True), run
            told = [(one.unit, ends[run]) for run, one in runs if one is not None and run in ends]
            assert store.check().faults == ()
        return [(unit, str(end.outcome)) for unit, end in told if end is not None]


def whole(shift: Shift, browser: object) -> None:
    """The shift itself."""
    units = serials(30)
    server = shift.server
    operator = Operator(browser, server.url, shift.shots)
    operator.look("badge")
    operator.scan(units[0])
    operator.page.wait_for_selector("#message:not(:empty)")
    operator.look("badge-first")
    operator.scan("OP1018")
    operator.until("unit")
    operator.scan("HR100009")
    operator.page.wait_for_selector("#message:has-text('HR100009')")
    operator.look("misread")

    # No golden unit was ever checked: locked, lifted by checking one.
    operator.scan(units[0])
    operator.until("locked", name="locked-golden")
    assert "golden-missing" in operator.text("#locks")
    for word in ("REFERENCE GROWS",) * 3 + ("STATION SOUND",):
        shift.golden(operator, word)

    for number, unit in enumerate(units):
        by = ("button", "scan", "enter")[number % 3]
        if number == 4:  # fails three times at the same place: its tries are used up, and the station is locked
            shift.has(unit, RELAY)
            for _ in range(3):
                shift.unit(operator, unit, "FAIL", "FAIL", by=by)
            operator.look("verdict-fail-last")
            operator.scan(unit)
            operator.until("locked", name="locked-unit")
            assert {"quarantine", "equal-failures"} <= set(operator.text("#locks").replace(" ", "\n").split())
            operator.touch("back")
            operator.until("unit")
            operator.scan(units[number + 1])
            operator.until("locked", name="locked-station")
            assert "equal-failures" in operator.text("#locks")
            shift.golden(operator, "STATION SOUND")
        elif number == 8:  # stopped in the middle, then measured
            operator.connect(unit, by=by)
            operator.until("run")
            wait_for(lambda: operator.page.evaluate("parseFloat(document.getElementById('fill').style.width) > 5"))
            operator.look("run-bar")
            operator.touch("stop")
            operator.until("verdict", name="verdict-stopped")
            assert operator.title == "STOPPED"
            print(f"{unit}  STOPPED", flush=True)
            shift.unit(operator, unit, "PASS", "PASS", by=by)
        elif number == 12:  # a loose contact: fails, is put in again, passes; counted apart
            shift.has(unit, ARITHMETIC)
            shift.unit(operator, unit, "FAIL", "FAIL", by=by)
            shift.has(unit)
            shift.unit(operator, unit, "PASS ON RETEST", "PASS", by=by)
        elif number == 15:  # the device's cable is pulled: the station's matter, not the unit's
            shift.has(unit, PULLED)
            operator.connect(unit, by=by)
            operator.until("verdict", name="verdict-station")
            assert operator.title == "STATION", operator.title
            print(f"{unit}  {operator.title}", flush=True)
            shift.has(unit)
            shift.unit(operator, unit, "PASS", "PASS", by=by)
        elif number == 19:  # a fault that stays, once is enough
            shift.has(unit, RELAY)
            shift.unit(operator, unit, "FAIL", "FAIL", by=by)
        elif number == 22:  # the server is killed while the bench measures, and started again
            operator.connect(unit, by=by)
            operator.until("run")
            server.kill()
            operator.page.wait_for_selector("#away:not([hidden])", timeout=20e3)
            operator.look("away")
            server.start()
            operator.page.wait_for_selector("#away[hidden]", state="attached", timeout=30e3)
            operator.until("verdict")
            assert operator.title == "PASS"
            shift.expected.append((unit, "PASS"))
            print(f"{unit}  PASS, the server was killed", flush=True)
        elif number == 25:  # the page is loaded anew, then closed and opened
            operator.connect(unit, by=by)
            operator.until("run")
            operator.reload()
            assert operator.screen in ("run", "verdict")
            operator.close()
            operator.open()
            operator.until("verdict")
            assert operator.title == "PASS"
            shift.expected.append((unit, "PASS"))
            print(f"{unit}  PASS, the page was reloaded and closed", flush=True)
        else:
            shift.unit(operator, unit, "PASS", "PASS", by=by)
        if number == 0:
            operator.scan(unit)
            operator.until("trouble", name="trouble-passed-already")
            operator.touch("back")
            operator.until("unit")
    # The end of the shift comes in the middle of a run.
    last = serials(31)[30]
    operator.connect(last)
    operator.until("run")
    assert server.close() == 0
    server.start()
    operator.page.wait_for_selector("#away[hidden]", state="attached", timeout=30e3)
    operator.until("verdict")
    assert operator.title in ("STOPPED", "PASS")
    if operator.title == "PASS":
        shift.expected.append((last, "PASS"))
    print(f"{last}  {operator.title}, the page was closed", flush=True)
    assert operator.errors == []
    operator.close()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shots", type=Path, default=None)
    asked = parser.parse_args()
    if MISSING:
        print(MISSING, file=sys.stderr)
        return 3
    if asked.shots is not None:
        asked.shots.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, chromium() as browser:
        shift = Shift(Path(folder), asked.shots)
        with shift.server.served():
            whole(shift, browser)
        recorded = [row for row in shift.recorded() if row[1] != "INVALID"]
        assert recorded == shift.expected, (recorded, shift.expected)
        slow, middle = max(shift.times_s), sorted(shift.times_s)[len(shift.times_s) // 2]
        print(f"{len(recorded)} runs judged, all as expected; scan to verdict {middle:.1f} s, at most {slow:.1f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
