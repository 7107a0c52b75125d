"""What each layer of judgement sees of weak faults: `python -m tests.faults.layers` prints the table.

Absolute: the gain of each setting. Residual: settings and parameters of the law fitted to the unit. Both: both.
Bit weights and ratios are off by 2, 5, 10 %; thresholds are those of the demo's limits.
"""

from __future__ import annotations

import dataclasses
from typing import ClassVar
from unittest import mock

from harness.app.bench_open import open_bench
from harness.app.run import judge_of, plan_of
from harness.app.setup import Setup, read_setup
from harness.simulated.fault import Fault, FaultEntry
from harness.sweep import sweep
from harness.values import Outcome, Reading

JOB = "configs/jobs/ci.toml"
SIZES_PERCENT = (-10.0, -5.0, -2.0, 2.0, 5.0, 10.0)
PLACES = (*(f"bit {bit}" for bit in range(8)), "attenuator 1:10", "attenuator 1:100", "pregain")
ABSOLUTE, RESIDUAL = ("gain",), ("residual", "parameter")


class WeakPart(Fault):
    """One bit weight or one ratio, off by a few percent."""

    entry: ClassVar[FaultEntry] = FaultEntry(name="weak-part", kind="product", does="", shows="", size="percent")

    def __init__(self, place: str, percent: float) -> None:
        super().__init__(size=percent)
        self._place = place

    def parts(self, parts):  # type: ignore[no-untyped-def]
        """The channel's parts with the weak one."""
        error = (self.size or 0.0) / 100.0
        if self._place == "pregain":
            return dataclasses.replace(parts, pregain_ratio=parts.pregain_ratio * (1.0 + error))
        if self._place.startswith("bit"):
            bits = list(parts.bit_error_ratio)
            bits[int(self._place.split()[1])] += error
            return dataclasses.replace(parts, bit_error_ratio=tuple(bits))
        state = self._place.split()[1]
        ratios = {**parts.attenuator_ratio, state: parts.attenuator_ratio[state] * (1.0 + error)}
        return dataclasses.replace(parts, attenuator_ratio=ratios)


class Kept:
    """A recorder that only remembers."""

    def __init__(self) -> None:
        self.readings: list[Reading] = []

    def record(self, reading: Reading) -> None:
        self.readings.append(reading)

    def note(self, kind: str, text: str) -> None:
        """Nobody reads the journal here."""


def readings_of(setup: Setup, place: str, percent: float, *, seed: int) -> list[Reading]:
    """A whole sweep of a unit with one weak part in every channel."""
    kept = Kept()
    weak = WeakPart(place, percent)
    with (
        mock.patch("harness.simulated.build.read_fault", return_value=weak),
        open_bench(setup.bench, setup.device, transport="in-process", seed=seed, faults=("weak-part",)) as opened,
    ):
        sweep(opened.bench, plan_of(setup), kept, progress=lambda done, reading: None)
    return kept.readings


def verdict(setup: Setup, readings: list[Reading], items: tuple[str, ...]) -> Outcome:
    """What the limits of some layers alone decide."""
    chosen = {name: item for name, item in setup.limits.items() if item.item in items}
    judge = judge_of(dataclasses.replace(setup, limits=chosen))
    for reading in readings:
        judge.take(reading)
    return judge.result().verdict


def table(*, seed: int = 1) -> list[tuple[str, float, Outcome, Outcome, Outcome]]:
    """Place, size in percent, and what the absolute, the residual and both layers decide."""
    setup = read_setup(JOB)
    rows = []
    for place in PLACES:
        for percent in SIZES_PERCENT:
            readings = readings_of(setup, place, percent, seed=seed)
            decided = [verdict(setup, readings, items) for items in (ABSOLUTE, RESIDUAL, ABSOLUTE + RESIDUAL)]
            rows.append((place, percent, *decided))
    return rows


def main() -> None:
    """Print the table."""
    print(f"{'weak part':<18}{'size %':>8}  {'absolute':<14}{'residual':<14}both")
    rows = table()
    for place, percent, absolute, residual, both in rows:
        print(f"{place:<18}{percent:>+8g}  {absolute:<14}{residual:<14}{both}")
    for name, column in (("absolute", 2), ("residual", 3), ("both", 4)):
        print(f"{name}: {sum(row[column] is Outcome.FAIL for row in rows)} of {len(rows)} found")


if __name__ == "__main__":
    main()
