"""How fast the batch fit is: against a general curve fit of the same records, and against one matrix product.

Run: python -m tests.benchmarks.fit
"""

from __future__ import annotations

import time

import numpy as np
from scipy.optimize import curve_fit

from harness.amplitude import fit_sines3

RECORDS, LENGTH, CYCLES = 200, 4096, 37
RATE_HZ, FREQUENCY_HZ = float(LENGTH), float(CYCLES)
TIMED_CURVES = 20
"""The general fit is timed on the first records only and scaled up: all 200 would take as long ten times over."""


def _least_s(work, repeats=15):
    """Least time of several runs: other processes only ever add to it."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def _records():
    rng = np.random.default_rng(4096)
    angle = 2 * np.pi * CYCLES * np.arange(LENGTH) / LENGTH
    phases = rng.uniform(-np.pi, np.pi, (RECORDS, 1))
    return 1500.0 * np.sin(angle + phases) + 3.0 + rng.normal(0.0, 0.5, (RECORDS, LENGTH))


def measure():
    """Ratios: curve_fit over batch fit (how many times faster), batch fit over one matrix product; and the times."""
    records = _records()
    time_s = np.arange(LENGTH) / RATE_HZ
    angle = 2 * np.pi * FREQUENCY_HZ * time_s
    columns = np.stack((np.sin(angle), np.cos(angle), np.ones(LENGTH)))

    def model(when_s, amplitude, phase_rad, offset):
        return amplitude * np.sin(2 * np.pi * FREQUENCY_HZ * when_s + phase_rad) + offset

    def batch():
        return fit_sines3(records, sample_rate_hz=RATE_HZ, frequency_hz=FREQUENCY_HZ)

    starts = batch()

    def curves():
        # Started at the true phase within 0.3 rad: curve_fit gets the help it needs to converge.
        for place in range(TIMED_CURVES):
            start = (1400.0, starts.phase_rad[place] + 0.3, 0.0)
            found, _ = curve_fit(model, time_s, records[place], p0=start)
            if abs(found[0] - starts.amplitude_code[place]) > 1e-3:
                raise SystemExit(f"record {place}: {found[0]} by curve_fit, {starts.amplitude_code[place]} by batch")

    product_s = _least_s(lambda: records @ columns.T)
    batch_s = _least_s(batch)
    curves_s = _least_s(curves, repeats=2) * RECORDS / TIMED_CURVES
    return {
        "curve_fit_over_batch": curves_s / batch_s,
        "batch_over_matrix_product": batch_s / product_s,
        "batch_ms": 1e3 * batch_s,
        "matrix_product_ms": 1e3 * product_s,
        "curve_fit_ms": 1e3 * curves_s,
    }


if __name__ == "__main__":
    for name, value in measure().items():
        print(f"{name:28s} {value:10.3f}")
