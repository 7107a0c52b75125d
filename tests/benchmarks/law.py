"""How fast the law is: 100,000 settings with spreads against one multiply-and-log pass; a fit against a general solver.

Run: python -m tests.benchmarks.law
"""

from __future__ import annotations

import time

import numpy as np
from scipy.optimize import least_squares

from harness.config import DeviceFile
from harness.law import build, design_matrix, fit_law
from harness.values import Setting

COARSE, FINE = 10, 10_000
LADDER = 1_000


def _least_s(work, repeats=15):
    """Least time of several runs: other processes only ever add to it."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def device() -> DeviceFile:
    """Five stages, ten ranges of ten thousand fine positions, a tolerance on every part."""
    attenuator = {f"p{index}": 10.0 ** (-index / 10.0) for index in range(COARSE)}
    ranges = [
        {
            "name": f"r{index}",
            "full_scale_vpp": 20.0 * 10.0 ** (-index / 10.0),
            "controls": {"attenuator": f"p{COARSE - 1 - index}", "trim": 3},
        }
        for index in range(COARSE)
    ]
    return DeviceFile.model_validate({
        "kind": "device", "version": 1, "name": "five stages", "channels": 1,
        "change": [{"version": 1, "date": "2026-11-25", "owner": "tests", "reason": "benchmark"}],
        "input": {"impedance_ohm": 1e6, "limit": [{"impedance_ohm": 1e6, "max_vpk": 30.0}]},
        "converter": {"bits": 12, "low_code": -2048, "high_code": 2047, "codes_per_v": 2000.0},
        "acquisition": {"sample_rate_hz": 5e5, "samples": 4000, "cycles": 17},
        "coarse": ranges,
        "fine": {"first_percent": 100.0, "last_percent": 30.0, "count": FINE},
        "stage": [
            {"name": "a", "kind": "relay-attenuator", "control": "attenuator", "ratios": attenuator,
             "tolerance": dict.fromkeys(attenuator, 0.2)},
            {"name": "b", "kind": "pregain-bit", "control": "pregain", "ratio": 4.0, "tolerance": {"ratio": 0.3}},
            {"name": "c", "kind": "linear-code", "control": "code", "bits": 12, "gain_per_code": 1e-3,
             "tolerance": {"gain_per_code": 1.0, "bits": 0.02, "inl_lsb": 0.5}},
            {"name": "d", "kind": "loading", "source_ohm": 1000.0, "load_ohm": 1000.0,
             "tolerance": {"source_ohm": 0.5, "load_ohm": 0.1}},
            {"name": "e", "kind": "linear-in-db", "control": "trim", "bits": 4, "intercept_db": 0.0,
             "slope_db_per_code": 0.5, "tolerance": {"slope_db_per_code": 1.0}},
        ],
        "firmware": {"rule": "nearest-code", "code": "code", "prefer": {"pregain": 0}},
        "settle": {"coarse_s": 0.0, "fine_s": 0.0},
    })  # fmt: skip


def measure():
    """Ratios: prediction over multiply-and-log, our fit over scipy's on the same residuals; and the times."""
    law = build(device(), file="benchmark.toml")
    whole = {name: array.astype(np.float64) + 2.0 for name, array in law.grid.items()}
    factors = [whole["attenuator"], whole["pregain"], whole["code"], whole["trim"], np.full(COARSE * FINE, 0.5)]

    def one_pass():
        total = factors[0]
        for factor in factors[1:]:
            total = total * factor
        return np.log(total)

    every = COARSE * FINE // LADDER
    settings = [Setting(1, coarse, fine) for coarse in range(COARSE) for fine in range(0, FINE, every)]
    design = design_matrix(law, settings)
    rng = np.random.default_rng(17)
    true = rng.normal(0.0, 0.003, len(design.columns))
    logs = design.log_gains + design.matrix @ true + rng.normal(0.0, 5e-4, len(settings))
    gains = np.exp(logs)

    def residuals(changes):
        return (logs - design.log_gains - design.matrix @ changes) / 5e-4

    def theirs():
        return least_squares(residuals, np.zeros(len(true)), loss="huber", f_scale=1.345)

    def ours():
        return fit_law(law, settings, gains, u_percent=0.05)

    pairs = zip(ours().parameters, theirs().x, strict=True)
    known = [(mine.deviation_percent / 100.0, other) for mine, other in pairs if mine.identifiable]
    if len(known) < 9 or max(abs(one - other) for one, other in known) > 2e-6:
        raise SystemExit(f"the two fits differ: {known}")
    pass_s, predict_s = _least_s(one_pass), _least_s(law.predict_many)
    ours_s, theirs_s = _least_s(ours), _least_s(theirs, repeats=5)
    return {
        "prediction_over_one_pass": predict_s / pass_s,
        "fit_over_least_squares": ours_s / theirs_s,
        "one_pass_ms": 1e3 * pass_s,
        "prediction_ms": 1e3 * predict_s,
        "our_fit_ms": 1e3 * ours_s,
        "least_squares_ms": 1e3 * theirs_s,
    }


if __name__ == "__main__":
    for name, value in measure().items():
        print(f"{name:28s} {value:10.3f}")
