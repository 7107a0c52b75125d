"""Raw data of a judged run: what the job keeps, what it drops, and what is said about it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from harness.app import probe
from harness.app.run import BESIDE_BYTES, bytes_of, judge_of
from harness.app.setup import Setup
from harness.bench import Clock
from harness.judge.measured import Measured, measure
from harness.store import DROPPED_KIND, Store, drop_raw
from harness.values import Event, Kept, KeptWord, Outcome, Purpose, Reading, ReadingStatus, RunResult, Setting

MOST_NAMED = 12
"""Settings named in a line; the rest are counted."""


def drop_by_rule(store: Store, setup: Setup, run_id: str, clock: Clock) -> str:
    """Drop what the job's rule does not keep of a run, once the run is finished and judged; what was done, in words.

    Empty where nothing was dropped. The numbers that the raw data gave, and what was decided on them, are durable in
    the same moment. An unfinished run keeps everything: whoever goes on with it compares records.
    """
    raw = setup.job.raw
    if raw.keep == "all" or store.info(run_id).end != "finished":
        return ""
    events = store.events(run_id)
    judge = judge_of(probe.with_probe(setup, events))
    for reading in store.readings(run_id):
        judge.add(reading)
    result = judge.result(events)
    measured = judge.measured()
    outcomes = {row.setting: row.outcome for row in result.settings}
    limits = next((file.sha256 for file in setup.files if file.role == "limits"), "")
    rule = raw.keep + (f", every {raw.every}" if raw.keep == "telling" and raw.every else "")
    utc = clock.utc()
    kept: dict[int, Kept] = {}
    total = 0
    for reading in store.readings(run_id):
        total += 1
        numbers = _numbers(reading, setup, measured)
        outcome = outcomes.get(reading.setting, Outcome.INVALID)
        if _stays(reading, setup, numbers, outcome):
            continue
        kept[reading.index] = Kept(
            rule=rule, at_utc=utc, outcome=str(outcome), limits_sha256=limits, reason=numbers.reason, fit=numbers.fit,
            quality=numbers.quality, words=_words(numbers), scale_v_per_code=numbers.scale_v_per_code,
        )  # fmt: skip
    if not kept:
        return ""
    text = (
        f"raw data of {len(kept)} of {total} readings dropped (rule: {rule}); judged {result.verdict} by limits "
        f"{limits[:12]} before; the numbers they gave are kept: {_said(result)}"
    )
    drop_raw(store, run_id, kept, Event(at_utc=utc, at_s=clock.now_s(), kind=DROPPED_KIND, text=text))
    return text


def night_bytes(setup: Setup, runs: int) -> int:
    """Room that the runs of a night take in a store, with what the job's rule leaves of a unit that passes."""
    whole, raw = bytes_of(setup, setup.every_rung), setup.job.raw
    if raw.keep == "all":
        return runs * whole
    # One run is whole before it is judged; of those behind it the numbers stay, and every n-th record.
    share = 1.0 / raw.every if raw.every else 0.0
    return whole + round(runs * (len(setup.every_rung) * BESIDE_BYTES + share * whole))


def _stays(reading: Reading, setup: Setup, numbers: Measured, outcome: Outcome) -> bool:
    """Whether a reading stays as it is: it has no raw data, or keeps them."""
    if reading.waveform is None and reading.capture is None:
        return True
    # Readings beside the ladder are few, and each is a measurement of its own.
    if reading.kept is not None or reading.steady_v or reading.purpose not in (Purpose.LADDER, Purpose.ANCHOR):
        return True
    if setup.job.raw.keep == "none":
        return False
    every = setup.job.raw.every
    return (
        reading.purpose is Purpose.ANCHOR
        or reading.status is not ReadingStatus.VALID
        or outcome is not Outcome.PASS
        or bool(numbers.flags)
        or (every > 0 and reading.index % every == 0)
    )


def _numbers(reading: Reading, setup: Setup, measured: Mapping[int, Measured]) -> Measured:
    """As the judge has measured a reading; one that is not final, or of an anchor, by itself."""
    known = measured.get(reading.index)
    if known is not None:
        return known
    return measure(reading, device=setup.device, bus=None, latches=(), input_ratio=setup.input_ratio)


def _words(numbers: Measured) -> tuple[KeptWord, ...]:
    first = numbers.captured
    if first is None:
        return ()
    return tuple(KeptWord(value=one.value, text=one.text, sound=one.sound) for one in (first, *first.more))


def _said(result: RunResult) -> str:
    return ", ".join(f"{count} {outcome}" for outcome, count in result.counts if count)


def dropped_lines(readings: Iterable[Reading], labels: Mapping[Setting, str]) -> tuple[str, ...]:
    """What can no longer be judged from raw data, for people; nothing where all raw data are there."""
    settings: dict[Setting, None] = {}
    count, rules = 0, {}
    for reading in readings:
        if reading.kept is not None:
            count += 1
            rules[reading.kept.rule] = reading.kept.at_utc[:19]
            settings[reading.setting] = None
    if not count:
        return ()
    named = [labels.get(setting, str(setting)) for setting in settings]
    more = f" and {len(named) - MOST_NAMED} more" if len(named) > MOST_NAMED else ""
    said = "; ".join(f"rule {rule}, {at_utc}Z" for rule, at_utc in rules.items())
    return (
        f"{count} readings can no longer be judged from raw data ({said}): amplitude, offset, noise and words are "
        "those kept then; waveform tests, code statistics and bus timing cannot be decided again",
        f"settings: {', '.join(named[:MOST_NAMED])}{more}",
    )
