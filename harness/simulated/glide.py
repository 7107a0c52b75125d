"""A quantity that settles exponentially after each change."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.float64]
_SETTLED_TAUS = 40.0
"""exp(-40) is below the resolution of a float."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Glide:
    """From `start` to `target` since `since_s`, with a dead time in which nothing arrives (a relay that bounces)."""

    target: float
    start: float = 0.0
    since_s: float = -math.inf
    tau_s: float = 1.0e-6
    bounce_s: float = 0.0

    def at(self, time_s: float) -> float:
        """The value at one time."""
        age_s = time_s - self.since_s - self.bounce_s
        if age_s < 0.0:
            return self.start
        return self.target + (self.start - self.target) * math.exp(-min(age_s / self.tau_s, 700.0))

    def settled(self, time_s: float) -> bool:
        """Whether nothing moves any more from this time on."""
        return time_s - self.since_s - self.bounce_s > _SETTLED_TAUS * self.tau_s

    def over(self, times_s: Samples) -> Samples | float:
        """The value at each time, shape (n,), or one number when it no longer moves."""
        if self.settled(float(times_s[0])):
            return self.target
        age_s = times_s - self.since_s - self.bounce_s
        moving = self.target + (self.start - self.target) * np.exp(-np.clip(age_s / self.tau_s, 0.0, 700.0))
        # While a contact bounces the input is now connected, now not: a square of 0.3 ms stands for it.
        contact = np.floor((times_s - self.since_s) / 0.0003) % 2.0
        return np.asarray(np.where(age_s < 0.0, self.start * contact, moving), dtype=np.float64)

    def moved(self, target: float, *, now_s: float, tau_s: float, bounce_s: float = 0.0) -> Glide:
        """The glide after a change at `now_s`; itself when nothing changes."""
        if target == self.target:
            return self
        return Glide(target=target, start=self.at(now_s), since_s=now_s, tau_s=tau_s, bounce_s=bounce_s)
