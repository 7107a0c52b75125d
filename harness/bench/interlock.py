"""The interlock: the largest level that may ever reach the device, for the impedance selected now.

Software is not a safety function: this refuses mistakes, it does not protect people.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from harness.errors import RefusedUnsafe


class Interlock:
    """Holds the limits of the device's input; the source driver asks before each level."""

    def __init__(self, limits_vpk: Mapping[float, float], *, impedance_ohm: float) -> None:
        """Take the limits by input impedance, and the impedance selected now.

        Args:
            limits_vpk: largest permitted level, V peak, by input impedance, Ω.
            impedance_ohm: a key of `limits_vpk`.
        Raises:
            RefusedUnsafe: no limit is known for the impedance.
        """
        self._limits_vpk = dict(limits_vpk)
        self._impedance_ohm = impedance_ohm
        self.limit_vpk  # noqa: B018 - an unknown impedance must be refused here, not at the first level

    @property
    def impedance_ohm(self) -> float:
        """The input impedance selected now, Ω."""
        return self._impedance_ohm

    @property
    def limit_vpk(self) -> float:
        """The limit in force, V peak."""
        limit = self._limits_vpk.get(self._impedance_ohm)
        if limit is None:
            known = ", ".join(f"{ohm:g} Ω" for ohm in sorted(self._limits_vpk))
            raise RefusedUnsafe(
                f"no input limit is known for {self._impedance_ohm:g} Ω; the device file names {known or 'none'}: "
                "add an [[input.limit]] for it",
                asked_vpk=math.nan,
                limit_vpk=0.0,
            )
        return limit

    def impedance_changed(self, impedance_ohm: float) -> None:
        """Say which impedance is selected now; the source must be off."""
        previous = self._impedance_ohm
        self._impedance_ohm = impedance_ohm
        try:
            self.limit_vpk  # noqa: B018
        except RefusedUnsafe:
            self._impedance_ohm = previous
            raise

    def check(self, level_vpk: float) -> None:
        """Refuse a level that the device may not see.

        Raises:
            RefusedUnsafe: the level is not finite, negative, or above the limit.
        """
        limit = self.limit_vpk
        if not (math.isfinite(level_vpk) and 0.0 <= level_vpk <= limit):
            raise RefusedUnsafe(
                f"refused a level of {level_vpk:g} V peak: the device's limit at {self._impedance_ohm:g} Ω is "
                f"{limit:g} V peak",
                asked_vpk=level_vpk,
                limit_vpk=limit,
            )
