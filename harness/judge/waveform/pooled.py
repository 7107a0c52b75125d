"""The codes of many records of one channel together: which of them the converter never gives."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from harness.judge.waveform.lattice import inner
from harness.judge.waveform.record import Booleans, Floats, Integers, Seen

ALARM_RATIO = 1e-4
"""Chance that a converter that gives every code is said to lack one, each channel of a run."""
LEAST_SHARE = 0.25
"""Of the converter's codes: a run that looks at fewer says nothing."""
LEAST_WITHIN = 0.9
"""Of the codes between the outermost ones that are looked at: the middle, where a sine is least, must be among them."""


def hits_needed(codes: int) -> float:
    """How many hits a code must be owed before none at all means that it is missing.

    Hits of a code come one by one: a code that is owed E of them gets none with a probability of at most exp(-E). For
    that to happen to none of N codes but with a chance of 1e-4, E is ln(N/1e-4): 17.5 for the 4096 codes of 12 bits,
    2.4e-8 a code. A code that is narrower by 0.3 is owed so much less: 5e-6, and few are.

    Args:
        codes: of the converter, N > 0.
    Returns:
        expected hits.
    Source:
        Poisson distribution and the bound of Bonferroni; derived in tests/judge_waveform/test_pooled.py.
    """
    return math.log(codes / ALARM_RATIO)


def records_needed(codes: int, samples: int) -> int:
    """How many records of sines show every code inside them often enough.

    Args:
        codes: of the converter, N > 0.
        samples: of each record, > 0.
    Returns:
        for sines that fill the converter; those that fill less of it show the codes inside more often. A sine is seldom
        anywhere as it is in the middle: 1/(pi·N/2) of its samples a code.
    Source:
        density of a sine; derived in tests/judge_waveform/test_pooled.py.
    """
    return math.ceil(hits_needed(codes) * math.pi * codes / 2.0 / samples)


@dataclass(frozen=True, kw_only=True, eq=False)
class PooledCodes:
    """Hits of each code, and how many it is owed; worked out when somebody asks."""

    channel: int
    seen: tuple[Seen, ...]
    """Records that no arithmetic has touched, by design or as found; those that are not plain are left out."""
    low_code: int
    """Lowest of the converter."""
    high_code: int
    counted: tuple[Integers, Floats] | None = None
    """Hits and what is owed, shape (high_code - low_code + 1,) each, where they were counted before."""

    def without_records(self) -> PooledCodes:
        """The same, counted now and with no record to keep."""
        return replace(self, seen=(), counted=self._tally)

    @cached_property
    def _tally(self) -> tuple[Integers, Floats]:
        if self.counted is not None:
            return self.counted
        size = self.high_code - self.low_code + 1
        hits, owed = np.zeros(size, dtype=np.int64), np.zeros(size)
        for one in self.seen:
            if not (one.plain and one.whole):
                continue
            # Where a record is held off its ends, by a clamp or a supply, its codes are the amplifier's matter.
            first, counts = one.counts
            expected_first, expected = one.expected
            ends = inner(one.fit, 1.0)
            low = max(ends[0], first, expected_first, self.low_code)
            high = min(ends[1], first + counts.size - 1, expected_first + expected.size - 1, self.high_code)
            if high > low:
                inside = slice(low - self.low_code, high - self.low_code + 1)
                hits[inside] += one.counts_between(low, high)
                owed[inside] += one.expected_between(low, high)
        return hits, owed

    @cached_property
    def looked_at(self) -> Booleans:
        """Shape (high_code - low_code + 1,): codes that are owed enough hits.

        What a code is owed supposes that records begin anywhere, as those of a free-running source do, or that noise
        reaches over a code: else all fall on the same points, and a code beside its place takes none. Where every
        second code stays empty, all of these speak together, and few hits of each are enough.
        """
        owed = self._tally[1]
        if self.spacing > 1:
            return np.asarray(owed >= 1.0, dtype=np.bool_)
        return np.asarray(owed >= hits_needed(owed.size), dtype=np.bool_)

    @property
    def enough(self) -> bool:
        """Whether so many codes are looked at that something can be said of the converter; regular gaps always can."""
        places = np.flatnonzero(self.looked_at)
        if self.spacing > 1 or places.size < LEAST_SHARE * self.looked_at.size:
            return self.spacing > 1
        return bool(places.size >= LEAST_WITHIN * (places[-1] - places[0] + 1))

    @cached_property
    def missing(self) -> Integers:
        """Codes, rising, that never came among those that are looked at."""
        return np.flatnonzero(self.looked_at & (self._tally[0] == 0)) + self.low_code

    @cached_property
    def spacing(self) -> int:
        """Distance of the codes that came: 1, or 2, 4, 8 where low bits never change; 1 where chance may do it."""
        hits, owed = self._tally
        came = np.flatnonzero(hits > 0)
        spacing = int(np.gcd.reduce(np.diff(came))) if came.size > 1 else 1
        between = float(owed[hits == 0].sum())
        return spacing if spacing > 1 and between >= hits_needed(owed.size) else 1
