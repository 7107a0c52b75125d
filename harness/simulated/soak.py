"""How the air of a chamber, and a unit in it, follow a set point: two lags, one behind the other, in closed form."""

from __future__ import annotations

import math
from collections.abc import Callable


class Soak:
    """Temperatures since the set point was moved last."""

    def __init__(self, start_c: float, *, air_tau_s: float, unit_tau_s: float, began_s: float) -> None:
        self._air_tau_s = air_tau_s
        # Equal lags have another closed form; a thousandth apart nobody can tell.
        self._unit_tau_s = unit_tau_s if unit_tau_s != air_tau_s else 1.001 * unit_tau_s
        self._target_c = self._air_from_c = self._unit_from_c = start_c
        self._since_s = began_s

    def move(self, target_c: float, *, now_s: float) -> None:
        """Another set point, from where things are now."""
        self._air_from_c, self._unit_from_c = self.air_c(now_s), self.unit_c(now_s)
        self._target_c, self._since_s = target_c, now_s

    def air_c(self, now_s: float) -> float:
        """Of the air."""
        return self._target_c + (self._air_from_c - self._target_c) * self._left(self._air_tau_s, now_s)

    def unit_c(self, now_s: float) -> float:
        """Of the unit, without its own heat."""
        air_tau_s, unit_tau_s = self._air_tau_s, self._unit_tau_s
        forced_k = (self._air_from_c - self._target_c) * air_tau_s / (air_tau_s - unit_tau_s)
        free_k = self._unit_from_c - self._target_c - forced_k
        return self._target_c + forced_k * self._left(air_tau_s, now_s) + free_k * self._left(unit_tau_s, now_s)

    def _left(self, tau_s: float, now_s: float) -> float:
        return math.exp(-(now_s - self._since_s) / tau_s)


class Feed:
    """The voltage that feeds the unit, and what it does to the gain."""

    def __init__(self, *, nominal_v: float, gain_percent_per_v: float) -> None:
        self._nominal_v = nominal_v
        self._percent_per_v = gain_percent_per_v
        self.voltage: Callable[[], float] = lambda: nominal_v
        """At the unit now, V."""

    @property
    def gain_ratio(self) -> float:
        """Gain against the one at nominal voltage."""
        return 1.0 + self._percent_per_v / 100.0 * (self.voltage() - self._nominal_v)
