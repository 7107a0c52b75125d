"""How often the relays of a unit have moved, over all its runs in the store, against what they are good for."""

from __future__ import annotations

from collections import Counter

from harness.app.setup import Setup, setup_of_run
from harness.errors import StopCondition
from harness.ladder.relays import toggles
from harness.law import GainLaw
from harness.store import Store
from harness.values import Setting

WARN_SHARE = 0.1
STOP_SHARE = 0.5
"""Shares of the stated life."""


def relay_toggles(law: GainLaw, settings: tuple[Setting, ...]) -> Counter[str]:
    """Toggles of each relay, by channel and name, on the way through settings."""
    known = [law.predict(setting) for setting in settings]
    moved = toggles(law, known)
    return Counter(
        f"ch{prediction.setting.channel} {relay}"
        for prediction, relays in zip(known, moved, strict=True)
        for relay in relays
    )


def used(store: Store, unit: str) -> Counter[str]:
    """Toggles of a unit's relays over all its runs, whatever their end: from the settings in the record.

    What making ready and the self-check move comes on top, a few toggles a run: the budget has room for them.
    """
    total: Counter[str] = Counter()
    laws: dict[str, GainLaw] = {}
    for info in store.runs():
        if info.header.unit == unit and info.readings:
            sha256 = info.header.file("device").sha256
            law = laws[sha256] = laws.get(sha256) or setup_of_run(info.header).law
            total += relay_toggles(law, store.settings(info.header.run_id))
    return total


def check_budget(store: Store, setup: Setup, unit: str) -> tuple[str, ...]:
    """Words for each relay that has used a tenth of its life; StopCondition where one would pass half of it."""
    life = setup.device.relay_life
    if not life:
        return ()
    past = used(store, unit)
    coming = relay_toggles(setup.law, tuple(rung.setting for rung in setup.every_rung))
    said: list[str] = []
    for relay in sorted({*past, *coming}):
        of = life.get(relay.split(" ", 1)[1])
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
