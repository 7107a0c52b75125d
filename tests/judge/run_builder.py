"""Synthetic readings with a known truth: closed-form sines, and captures made bit by bit."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from harness.app.run import judge_of
from harness.app.setup import Setup, read_setup
from harness.judge import RunJudge
from harness.values import Capture, Direction, Prediction, Reading, ReadingStatus, Rung, RunResult, Setting, Waveform

JOB = str(Path(__file__).resolve().parents[2] / "configs" / "jobs" / "ci.toml")
FULL = read_setup(JOB)
LATCHES = ("latch-1", "latch-2", "latch-3", "latch-4")
BIT_NS = 1000


def capture_of(frames: Sequence[tuple[str, str]], **changes: Any) -> Capture:
    """Frames one after another: a latch (empty: none fires, several joined by +: together) and the bits as text."""
    lines = FULL.device.bus.lines
    place = {name: 1 << index for index, name in enumerate(lines)}
    times_ns: list[int] = []
    levels: list[int] = []
    now_ns, level = 1000, 0

    def put(line: str, high: bool, after_ns: int) -> None:
        nonlocal now_ns, level
        now_ns += after_ns
        level = level | place[line] if high else level & ~place[line]
        times_ns.append(now_ns)
        levels.append(level)

    for latch, bits in frames:
        for bit in bits:
            put("data", bit == "1", BIT_NS // 4)
            put("clock", True, BIT_NS // 4)
            put("clock", False, BIT_NS // 2)
        for name in filter(None, latch.split("+")):
            put(name, True, BIT_NS if name == latch.split("+")[0] else 0)
        for name in filter(None, latch.split("+")):
            put(name, False, BIT_NS // 2)
    made = Capture(
        times_ns=np.array(times_ns, dtype=np.int64),
        levels=np.array(levels, dtype=np.uint8),
        initial=0,
        lines=lines,
    )
    return dataclasses.replace(made, **changes) if changes else made


def word_frames(prediction: Prediction, value: int | None = None) -> list[tuple[str, str]]:
    """A change of setting as the device makes it: every device on the bus is written, the channel's among them."""
    own = prediction.state.word
    shown = own.value if value is None else value
    frames = [(latch, "010101010") for latch in LATCHES if latch != own.latch]
    return [*frames, (own.latch, f"{shown:0{own.bits}b}"), ("latch-bias", "100000000000")]


def codes_of(
    amplitude_code: float, *, step: int = 1, offset_code: float = 0.3, phase_rad: float = 0.7
) -> np.ndarray:
    """A sine of the device file's test frequency on the converter's codes, on every `step`-th of them only."""
    acquisition = FULL.device.acquisition
    t_s = np.arange(acquisition.samples) / acquisition.sample_rate_hz
    sine = amplitude_code * np.sin(2.0 * np.pi * acquisition.frequency_hz * t_s + phase_rad) + offset_code
    return (np.round(sine / step) * step).astype(np.int16)


def reading_of(rung: Rung, *, gain_ratio: float = 1.0, step: int = 1, **changes: Any) -> Reading:
    """A sound reading of a rung whose gain is the law's times `gain_ratio`."""
    amplitude = rung.drive_vpk * FULL.input_ratio * rung.prediction.gain_codes_per_v * gain_ratio
    made = Reading(
        index=rung.index,
        setting=rung.setting,
        direction=rung.direction,
        attempt=0,
        status=ReadingStatus.VALID,
        reason="",
        drive_set_vpk=rung.drive_vpk,
        drive_read_vpk=rung.drive_vpk,
        frequency_hz=FULL.device.acquisition.frequency_hz,
        waveform=Waveform(
            # As with any free-running source no two records begin alike: two equal ones would be one, read twice.
            codes=codes_of(amplitude, step=step, phase_rad=0.7 + 0.37 * rung.index),
            sample_rate_hz=FULL.device.acquisition.sample_rate_hz,
            scale_v_per_code=1.0 / rung.prediction.gain_codes_per_v,
            sequence=rung.index + 1,
        ),
        capture=capture_of(word_frames(rung.prediction)),
        capture_reason="",
        read_back=(("coarse", "0"), ("fine", "0")),
        messages=(),
        started_utc="2026-01-01T00:00:00.000000+00:00",
        started_s=float(rung.index),
        duration_s=0.01,
    )
    return dataclasses.replace(made, **changes)


def healthy(rung: Rung) -> Reading:
    """As the law says, with the comb of a range that is declared arithmetic."""
    return reading_of(rung, step=int(rung.prediction.state.arithmetic_ratio))


def setup_at(*places: tuple[int, int, int], limits: Iterable[str] = (), ways: str = "up down") -> Setup:
    """The CI job cut down to some settings by channel, coarse and fine, and to some limits."""
    wanted = [Setting(*place) for place in places]
    rungs = [r for r in FULL.rungs if r.setting in wanted and r.direction in ways.split()]
    kept = {item: limit for item, limit in FULL.limits.items() if not limits or item in limits}
    return dataclasses.replace(FULL, rungs=tuple(rungs), limits=kept)


def judged(setup: Setup, readings: Iterable[Reading], **changes: Any) -> RunResult:
    """The result of a run."""
    judge = judge_of(setup)
    for reading in readings:
        judge.take(reading)
    return judge.result(**changes)


def outcomes(result: RunResult, item: str) -> dict[Setting | None, str]:
    """Outcome of each claim of a kind, by setting."""
    return {claim.setting: claim.outcome.value for claim in result.judgements if claim.item == item}


def reasons(result: RunResult, item: str) -> list[str]:
    """Words of each claim of a kind that has any."""
    return [claim.reason for claim in result.judgements if claim.item == item and claim.reason]


__all__ = [
    "FULL", "Direction", "RunJudge", "capture_of", "codes_of", "healthy", "judged", "outcomes", "reading_of", "reasons",
    "setup_at", "word_frames",
]  # fmt: skip
