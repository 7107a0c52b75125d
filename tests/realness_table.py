"""How often words, waveform and both tell what a step is, on synthetic records of a 12-bit converter.

Run: python -m tests.realness_table [--seeds N]; with --device on the simulated bench of the demo device instead.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter

import numpy as np

from harness.judge.waveform import Words, combine, see, waveform_tests
from tests.judge_waveform.synthetic import Unit, converter_noise, pair
from tests.realness_device import print_device_table

SEEDS = 200
RATIOS = (1.0005, 1.0015, 1.01, 1.05, 1.11, 1.25, 2.0, 2.5)
HARDWARE, MIXED, ARITHMETIC = "hardware", "mixed", "arithmetic"
CASES = {
    # name: truth, kind of pair, changes of the unit, changes of the record
    "hardware": (HARDWARE, "hardware", {}, {}),
    "hardware, front end dominates": (HARDWARE, "hardware", {"front_vrms": 2e-3}, {}),
    "hardware, one bit lost": (HARDWARE, "hardware", {"lost_bits": 1}, {}),
    "hardware, three bits lost": (HARDWARE, "hardware", {"lost_bits": 3}, {}),
    "hardware, averaging on": (HARDWARE, "hardware", {}, {"averages": 8, "mode": "average"}),
    "hardware, averaging unseen": (HARDWARE, "hardware", {}, {"averages": 8}),
    "arithmetic, whole codes": (ARITHMETIC, "integer", {}, {}),
    "arithmetic, float codes": (ARITHMETIC, "float", {}, {}),
    "arithmetic, scale only": (ARITHMETIC, "display", {}, {}),
    "arithmetic, front end dominates": (ARITHMETIC, "integer", {"front_vrms": 2e-3}, {}),
    "arithmetic, one bit lost": (ARITHMETIC, "integer", {"lost_bits": 1}, {}),
    "arithmetic, averaging on": (ARITHMETIC, "integer", {}, {"averages": 8, "mode": "average"}),
    "arithmetic, averaging unseen": (ARITHMETIC, "integer", {}, {"averages": 8}),
    "mixed": (MIXED, "mixed", {}, {}),
    "mixed, averaging unseen": (MIXED, "mixed", {}, {"averages": 8}),
}


def classify(case, seed):
    """What words, waveform and both say of one step of one unit."""
    truth, kind, unit_changes, record_changes = CASES[case]
    rng = np.random.default_rng((7, seed))
    unit = Unit(
        **{
            "seed": seed,
            "front_vrms": 10.0 ** rng.uniform(-5.3, -3.3),
            "converter_code": rng.uniform(0.3, 0.9),
            "dnl_lsb": rng.uniform(0.0, 0.3),
            "offset_code": rng.uniform(-20.0, 20.0),
        }
        | unit_changes
    )
    ratio = RATIOS[seed % len(RATIOS)]
    a, b = pair(unit, seed, ratio=ratio, kind=kind, **record_changes)
    tests = waveform_tests(a, b, ratio=ratio, converter_noise_code=converter_noise(unit))
    # The bus shows a new word wherever the hardware moved; the law knows what the words stand for.
    words = Words.SAME_WORD if truth == ARITHMETIC else Words.NEW_WORD
    part = np.sqrt(ratio) * 1.01 if truth == MIXED else 1.0
    word_ratio = None if truth == ARITHMETIC else ratio / part
    known = {"word_ratio": word_ratio, "measured_ratio": see(b).gain_per_v / see(a).gain_per_v}
    return {
        "words": combine((), words, ratio=ratio, **known).realness.value,
        "waveform": combine(tests, Words.NOT_CAPTURED, ratio=ratio).realness.value,
        "both": combine(tests, words, ratio=ratio, **known).realness.value,
    }


def table(seeds):
    """For each case and source of evidence: agreed, unproven, wrong."""
    found = {}
    for case, (truth, *_) in CASES.items():
        tallies = {name: Counter() for name in ("words", "waveform", "both")}
        for seed in range(seeds):
            for name, said in classify(case, seed).items():
                tallies[name]["agreed" if said == truth else "unproven" if said == "unproven" else "wrong"] += 1
        found[case] = tallies
    return found


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.realness_table")
    parser.add_argument("--seeds", type=int, default=SEEDS)
    parser.add_argument("--device", action="store_true", help="the demo device on its simulated bench")
    asked = parser.parse_args()
    if asked.device:
        return 1 if print_device_table(asked.seeds) else 0
    seeds, wrong = asked.seeds, 0
    print(f"{seeds} seeds a case; agreed / unproven / wrong")
    print(f"{'case':34s}{'words only':>18s}{'waveform only':>18s}{'both':>18s}")
    for case, tallies in table(seeds).items():
        cells = [f"{t['agreed']} / {t['unproven']} / {t['wrong']}" for t in tallies.values()]
        wrong += sum(t["wrong"] for t in tallies.values())
        print(f"{case:34s}" + "".join(f"{cell:>18s}" for cell in cells))
    print(f"wrong in all: {wrong}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
