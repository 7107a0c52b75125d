"""The page of a night from the record: its runs judged one by one, and compared with the night before."""

from __future__ import annotations

from collections.abc import Sequence

from harness.app.relay_use import RelayUse, life_of
from harness.app.run import judge_of
from harness.app.setup import setup_of_run
from harness.judge.night import NightJudge, RunPart, differences
from harness.store import Store
from harness.values import NightResult, RunInfo


def night_ids(store: Store) -> tuple[str, ...]:
    """The nights of a store, the newest first."""
    return tuple(dict.fromkeys(i.header.night.night_id for i in store.runs() if i.header.night is not None))


def judged_night(store: Store, night_id: str, why: Sequence[str] = ()) -> NightResult:
    """A night decided from its record; `why` says why it is not whole, where the caller knows more than the record."""
    ids = night_ids(store)
    units = _units(store, night_id)
    before_id = next((i for i in ids[ids.index(night_id) + 1 :] if _units(store, i) & units), "")
    before = _result(store, before_id, (), None) if before_id else None
    return _result(store, night_id, why, before)


def _units(store: Store, night_id: str) -> set[str]:
    return {info.header.unit for info in _runs(store, night_id)}


def _runs(store: Store, night_id: str) -> list[RunInfo]:
    """The runs of a night, the first one first."""
    return [i for i in reversed(store.runs()) if i.header.night is not None and i.header.night.night_id == night_id]


def _result(store: Store, night_id: str, why: Sequence[str], before: NightResult | None) -> NightResult:
    judge = NightJudge()
    runs = _runs(store, night_id)
    life: dict[str, float] = {}
    for info in runs:
        run_id = info.header.run_id
        setup = setup_of_run(info.header)
        life = dict(setup.device.relay_life)
        decided = judge_of(setup, waveforms=False)
        for reading in store.readings(run_id):
            decided.add(reading)
        events = store.events(run_id)
        part = RunPart(
            info=info,
            result=decided.result(events),
            events=events,
            device=setup.device,
            input_ratio=setup.input_ratio,
            labels={rung.setting: rung.prediction.label for rung in setup.rungs},
        )
        judge.take(part, store.readings(run_id))
    said = [*why, *_broken_off(store, runs)]
    against = (
        differences(judge.rows(), judge.failures(()), before.runs, before.failures) if before is not None else ()
    )
    relays = RelayUse(store)
    toggles = [
        (unit, relay, count, life_of(life, relay))
        for unit in dict.fromkeys(info.header.unit for info in runs)
        for relay, count in sorted(relays.of(unit).items())
    ]
    night = runs[0].header.night if runs else None
    return judge.result(
        night_id=night_id,
        planned=night.planned if night is not None else 0,
        why=tuple(dict.fromkeys(said)),
        toggles=toggles,
        before=before,
        against=against,
    )


def _broken_off(store: Store, runs: Sequence[RunInfo]) -> list[str]:
    """Why runs did not finish, as their journals say."""
    said: list[str] = []
    for info in runs:
        if info.end == "finished":
            continue
        last = next((e.text for e in reversed(store.events(info.header.run_id)) if e.kind == info.end), "")
        corner = info.header.night.corner if info.header.night is not None else ""
        said.append(f"{info.header.unit}, {corner}: {info.end or 'died'}{f': {last}' if last else ''}")
    return said
