"""Temperature round the unit and inside it, over the simulated time."""

from __future__ import annotations

import math

from harness.simulated.course import Course
from harness.simulated.parameters import ClimateTruth
from harness.simulated.soak import Feed, Soak


class Climate:
    """How much warmer than at its calibration the unit is, and how long it has been on."""

    def __init__(
        self,
        truth: ClimateTruth,
        course: Course,
        *,
        began_s: float,
        soak: Soak | None = None,
        feed: Feed | None = None,
    ) -> None:
        self._truth = truth
        self._course = course
        self._began_s = began_s
        self._soak = soak
        self._feed = feed

    @property
    def feed_ratio(self) -> float:
        """What the supply's voltage does to the gain."""
        return 1.0 if self._feed is None else self._feed.gain_ratio

    def inside_c(self, now_s: float) -> float:
        """Temperature inside the unit."""
        return self._truth.reference_c + self.warmer_k(now_s)

    def elapsed_s(self, now_s: float) -> float:
        """Time since power on; it goes on while the computer sleeps."""
        return now_s - self._began_s + self._course.asleep_s

    def warmer_k(self, now_s: float) -> float:
        """Temperature inside above that of calibration: the room's swing, and the unit's own heat as it comes."""
        truth, elapsed_s = self._truth, self.elapsed_s(now_s)
        room_c = truth.room_c if self._soak is None else self._soak.unit_c(now_s)
        room_k = room_c - truth.reference_c
        if truth.swing_k and self._soak is None:  # a chamber keeps the room's swing out
            room_k += truth.swing_k * math.sin(2.0 * math.pi * elapsed_s / truth.swing_period_s)
        return room_k + truth.self_heating_k * -math.expm1(-elapsed_s / truth.heating_tau_s)
