"""How often words, waveform and both tell what settings and steps of the demo device are, on its simulated bench."""

from __future__ import annotations

import dataclasses
from collections import Counter
from pathlib import Path

from harness.app.setup import read_setup
from harness.values import Realness
from tests.simulated_run import decided, swept

JOB = str(Path(__file__).resolve().parents[1] / "configs" / "jobs" / "ci.toml")
SOURCES = ("words", "waveform", "both")
DECLARED = 10
"""Index of the range that is only arithmetic."""
CASES = {
    # name: faults, whether fine gain is arithmetic
    "good unit": ((), False),
    "fine gain by arithmetic": (("fine-gain-arithmetic:1",), True),
}


def one_channel():
    """The CI job's settings of channel 1, upwards."""
    setup = read_setup(JOB)
    rungs = tuple(r for r in setup.rungs if r.setting.channel == 1 and r.direction == "up")
    return dataclasses.replace(setup, rungs=rungs)


def truth_of_setting(setting, *, fine_arithmetic):
    """What the simulated hardware is at a setting."""
    if setting.coarse == DECLARED or (fine_arithmetic and setting.fine > 0):
        return Realness.ARITHMETIC
    return Realness.HARDWARE


def truth_of_step(step, *, fine_arithmetic):
    """What the simulated hardware does in a step: each is between neighbours, so never both at once."""
    if step.kind == "coarse":
        return Realness.ARITHMETIC if step.upper.coarse == DECLARED else Realness.HARDWARE
    return Realness.ARITHMETIC if fine_arithmetic else Realness.HARDWARE


def classify(setup, case, seed):
    """Agreed, unproven or wrong, for settings and steps, by source of evidence; and the wrong ones by name."""
    faults, fine_arithmetic = CASES[case]
    result = decided(setup, swept(setup, seed=seed, faults=faults))
    tallies = {(kind, source): Counter() for kind in ("settings", "steps") for source in SOURCES}
    wrong = []
    asked = {"fine_arithmetic": fine_arithmetic}
    rows = [("settings", row, truth_of_setting(row.setting, **asked)) for row in result.settings]
    rows += [("steps", row, truth_of_step(row, **asked)) for row in result.steps]
    for kind, row, truth in rows:
        for source in SOURCES:
            said = getattr(row.evidence, source)
            verdict = "agreed" if said is truth else "unproven" if said is Realness.UNPROVEN else "wrong"
            tallies[kind, source][verdict] += 1
            if verdict == "wrong":
                place = row.setting if kind == "settings" else (row.lower, row.upper)
                wrong.append(f"{case}, seed {seed}, {place}: {source} says {said}, truth {truth}")
    return tallies, wrong


def device_table(seeds):
    """The table over many seeds, and everything that was wrong."""
    setup, found, wrong = one_channel(), {}, []
    for case in CASES:
        total = {}
        for seed in range(1, seeds + 1):
            tallies, failures = classify(setup, case, seed)
            wrong += failures
            for key, tally in tallies.items():
                total.setdefault(key, Counter()).update(tally)
        found[case] = total
    return found, wrong


def print_device_table(seeds):
    """The table on the screen; the number of wrong decisions."""
    found, wrong = device_table(seeds)
    print(f"{seeds} units of the demo device, channel 1; agreed / unproven / wrong")
    print(f"{'case':36s}{'words only':>20s}{'waveform only':>20s}{'both':>20s}")
    for case, total in found.items():
        for kind in ("settings", "steps"):
            tallies = [total[kind, source] for source in SOURCES]
            cells = [f"{t['agreed']} / {t['unproven']} / {t['wrong']}" for t in tallies]
            print(f"{case + ', ' + kind:36s}" + "".join(f"{cell:>20s}" for cell in cells))
    for line in wrong:
        print(line)
    print(f"wrong in all: {len(wrong)}")
    return len(wrong)
