"""What speaks against a record, all tests together: some make it invalid, the others are said beside the gain."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import lru_cache

from harness.amplitude import (
    Flag,
    clip_before_converter,
    low_noise,
    processed_samples,
    rms_differs,
    stale_record,
    tones_of,
    too_few_cycles,
)
from harness.errors import MeasureError
from harness.judge.record_fit import RecordFit
from harness.values import Codes, FlagNote, Quality, Waveform

UNTESTED = "untested"
"""Name of the flag of a record that is too short, or of a frequency that does not allow a test."""


def record_flags(
    wave: Waveform, fitted: RecordFit, quality: Quality, *, previous: Codes | None
) -> tuple[Flag, ...]:
    """What speaks against a record that could be fitted.

    Args:
        wave: the record.
        fitted: its sine, amplitude above zero, with the frequency and the lines beside it.
        quality: of the record; its code spacing is the step of the converter where arithmetic doubles codes.
        previous: the codes fetched before; None for the first record.
    Returns:
        all flags, those first that make the record invalid.
    Source:
        as the tests of harness.amplitude.
    """
    fit, tones = fitted.fit, fitted.tones
    place = {"sample_rate_hz": wave.sample_rate_hz, "frequency_hz": fitted.frequency_hz}
    step = float(quality.code_spacing)

    def cycles() -> Iterable[Flag]:
        found = too_few_cycles(samples=wave.codes.size, **place)
        return () if found is None else (found,)

    def stale() -> Iterable[Flag]:
        found = None if previous is None else stale_record(wave.codes, previous)
        return () if found is None else (found,)

    def plain() -> Iterable[Flag]:
        lines = tones_of(tones, samples=wave.codes.size, sample_rate_hz=wave.sample_rate_hz) if tones else None
        return processed_samples(wave.codes, **place, fit=fit, lines=lines)

    def rms() -> Iterable[Flag]:
        found = rms_differs(wave.codes, fit=fit, **place, tones=tones)
        return () if found is None else (found,)

    def quiet() -> Iterable[Flag]:
        found = _low_noise(round(fit.noise_code / step, 2), float(f"{fit.amplitude_code / step:.2g}"))
        return () if found is None else (found,)

    tests: dict[str, Callable[[], Iterable[Flag]]] = {
        "number of cycles": cycles,
        "clip before the converter": lambda: clip_before_converter(wave.codes, **place),
        "stale record": stale,
        "plain samples": plain,
        "amplitude by RMS": rms,
        "low noise": quiet,
    }
    flags: list[Flag] = []
    for name, test in tests.items():
        try:
            flags.extend(test())
        except MeasureError as error:
            flags.append(Flag(name=UNTESTED, severity="flag", reason=f"{name} not tested: {error}"))
    return tuple(sorted(flags, key=lambda flag: flag.severity != "invalid"))


@lru_cache(maxsize=1024)
def _low_noise(residual_code: float, amplitude_code: float) -> Flag | None:
    """The exact bias takes milliseconds; records that are nearly alike share it."""
    return low_noise(residual_code=residual_code, amplitude_code=amplitude_code)


def flag_notes(flagged: Mapping[str, Sequence[Flag]]) -> tuple[FlagNote, ...]:
    """The flags of a run, each name once.

    Args:
        flagged: flags by the label of their setting; a setting may have one twice, from two readings.
    Returns:
        for each name the number of settings and the words of its first occurrence.
    Source:
        none: a record.
    """
    first: dict[str, str] = {}
    count: Counter[str] = Counter()
    for label, flags in flagged.items():
        count.update({flag.name for flag in flags})
        for flag in flags:
            first.setdefault(flag.name, f"{label}: {flag.reason}")
    return tuple(FlagNote(name=name, settings=count[name], example=example) for name, example in first.items())
