"""Bins of a record: against the library's histogram, which sorts samples one by one."""

from __future__ import annotations

import numpy as np
import pytest

from harness.judge.waveform.histogram import LEAST_COUNT, bins_of, counted_in, expected_in
from harness.judge.waveform.lattice import expected_hits


def test_bins_hold_enough_and_count_as_the_library_does():
    rng = np.random.default_rng(7)
    mean = 300.0 * np.sin(2.0 * np.pi * 17 * np.arange(4000) / 4000) + 3.0
    steps = np.rint(mean + rng.normal(0.0, 0.6, mean.size)).astype(np.int64)
    first = int(steps.min())
    found = bins_of(first, np.bincount(steps - first), mean, 1.0, 0.6)
    assert found.counts.tolist() == np.histogram(steps, bins=found.edges)[0].tolist()
    assert found.counts[:-1].min() >= LEAST_COUNT
    low, hits = expected_hits(mean, 0.6)
    wanted = np.histogram(low + np.arange(hits.size), bins=found.edges, weights=hits)[0]
    assert found.expected == pytest.approx(wanted, abs=1e-9)
    assert found.expected.sum() == pytest.approx(mean.size)


def test_another_record_counts_into_the_same_bins_wherever_it_lies():
    edges = np.array([-np.inf, -2.5, 0.5, np.inf])
    assert counted_in(edges, -4, [1, 2, 3, 4, 5, 6, 7]).tolist() == [3.0, 12.0, 13.0]
    assert counted_in(edges, 5, [1, 2]).tolist() == [0.0, 0.0, 3.0]
    assert counted_in(edges, -9, [1, 2]).tolist() == [3.0, 0.0, 0.0]


def test_a_stretched_sine_is_counted_with_its_stretched_noise():
    mean = 100.0 * np.sin(2.0 * np.pi * 5 * np.arange(2000) / 2000)
    edges = np.array([-np.inf, -150.5, 0.5, 150.5, np.inf])
    low, hits = expected_hits(2.0 * mean / 0.5, 1.6)
    wanted = np.histogram(low + np.arange(hits.size), bins=edges, weights=hits)[0]
    assert expected_in(edges, mean, 0.5, 0.8, ratio=2.0) == pytest.approx(wanted, abs=1e-9)
