"""How often each relay of a unit has moved, over all runs in the store; and whether there is budget for another run."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from harness.app.setup import Setup, setup_of_run
from harness.errors import StopCondition
from harness.ladder.relays import toggles
from harness.law import GainLaw
from harness.store import Store
from harness.values import Prediction, Setting

WARN_SHARE = 0.1
STOP_SHARE = 0.5
"""Shares of the stated life."""


def relay_toggles(law: GainLaw, settings: Iterable[Setting]) -> Counter[str]:
    """Toggles of each relay, by channel and name, on the way through settings."""
    predicted: dict[Setting, Prediction] = {}
    known = [predicted.get(one) or predicted.setdefault(one, law.predict(one)) for one in settings]
    moved = toggles(law, known)
    return Counter(
        f"ch{prediction.setting.channel} {relay}"
        for prediction, relays in zip(known, moved, strict=True)
        for relay in relays
    )


def life_of(life: dict[str, float], relay: str) -> float | None:
    """The stated life of a relay that is named with its channel; None where none is stated."""
    return life.get(relay.split(" ", 1)[1])


class RelayUse:
    """Counts from the record; each run is counted once, however often a night asks."""

    def __init__(self, store: Store) -> None:
        """Of a store that is open."""
        self._store = store
        self._laws: dict[str, GainLaw] = {}
        self._known: dict[tuple[str, int], Counter[str]] = {}

    def of(self, unit: str) -> Counter[str]:
        """Toggles of a unit's relays over all its runs, whatever their end: from the settings in the record.

        What making ready and the self-check move comes on top, a few toggles a run: the budget has room for them.
        """
        total: Counter[str] = Counter()
        for info in self._store.runs():
            header = info.header
            if header.unit != unit or not info.readings:
                continue
            key = header.run_id, info.readings
            if key not in self._known:
                sha256 = header.file("device").sha256
                law = self._laws[sha256] = self._laws.get(sha256) or setup_of_run(header).law
                self._known[key] = relay_toggles(law, self._store.settings(header.run_id))
            total += self._known[key]
        return total

    def check(self, setup: Setup, unit: str) -> tuple[str, ...]:
        """Words for each relay that has used a tenth of its life; StopCondition where one would pass half of it."""
        life = setup.device.relay_life
        if not life:
            return ()
        past = self.of(unit)
        coming = relay_toggles(setup.law, (rung.setting for rung in setup.every_rung))
        said: list[str] = []
        for relay in sorted({*past, *coming}):
            of = life_of(life, relay)
            if of is None:
                continue
            share = (past[relay] + coming[relay]) / of
            words = f"{relay} of unit {unit}: {past[relay]} toggles so far, {coming[relay]} to come, of {of:g}"
            if share > STOP_SHARE:
                raise StopCondition(
                    f"{words}: more than {STOP_SHARE:.0%} of its life would be used; sweep another unit", scope="unit"
                )
            if share > WARN_SHARE:
                said.append(f"{words}: more than {WARN_SHARE:.0%} of its life")
        return tuple(said)
