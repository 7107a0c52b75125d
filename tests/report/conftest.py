"""A made-up Skerry HR-4: results as the judge would hand them over, good and bad, without judging anything."""

from __future__ import annotations

import dataclasses
import math
import random
from collections.abc import Callable
from types import SimpleNamespace

import pytest

from harness import report
from harness.values import (
    BudgetLine,
    BudgetTable,
    Candidate,
    ConfigFile,
    ControlWord,
    Event,
    Identity,
    Judgement,
    Outcome,
    ParameterResult,
    Realness,
    RunHeader,
    RunResult,
    Setting,
    SettingResult,
    StepResult,
)

FULL_SCALES = (20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01)
RANGES = ("20V", "10V", "5V", "2V", "1V", "500mV", "200mV", "100mV", "50mV", "20mV", "10mV")
ATTENUATION = (0.01, 0.01, 0.01, 0.1, 0.1, 0.1, 1.0, 1.0, 1.0, 1.0, 1.0)
FINE = tuple(f"{100 - 3 * index} %" for index in range(21))
LIMIT, GUARD, STEP, STEP_GUARD, COARSE, COARSE_GUARD = 2.0, 0.44, 0.7, 0.1, 1.5, 0.2

Change = Callable[[SettingResult], SettingResult]


def header(**changes: object) -> RunHeader:
    files = (
        ConfigFile(role="job", path="configs/jobs/demo.toml", version=1, sha256="0123456789abcdef" * 4, text="secret"),
        ConfigFile(role="limits", path="configs/limits/skerry-hr-4.toml", version=3, sha256="fe" * 32, text=""),
    )
    made = RunHeader(
        run_id="20261125T095957-1a2b3c4d",
        unit="A1",
        operator="M. Tester",
        started_utc="2026-11-25T09:59:57.123456Z",
        mode="simulated",
        seed=1,
        faults=(),
        planned=1848,
        identities=(
            ("source", Identity(manufacturer="Machair", model="SG-1", serial="S100", firmware="1.2")),
            ("device", Identity(manufacturer="Skerry", model="HR-4", serial="A1", firmware="2.0")),
        ),
        files=files,
        software="0.1.0",
    )
    return dataclasses.replace(made, **changes)


def events(number: int = 3) -> tuple[Event, ...]:
    return tuple(
        Event(at_utc=f"2026-11-25T10:0{index % 10}:00Z", at_s=float(index), kind="note", text=f"line {index}")
        for index in range(number)
    )


def code_word(channel: int, coarse: int, fine: int) -> ControlWord:
    wanted = 4096 / (FULL_SCALES[min(coarse, 9)] * (1 - 0.03 * fine)) / (2000 * 0.5) / ATTENUATION[coarse]
    code = round(wanted * 255 / 128)
    word = code if code <= 255 else 256 + round(code / 4)
    return ControlWord(f"latch-{channel}", 9, word)


def decide(value: float, low: float, high: float, guard: float) -> Outcome:
    margin = min(value - low, high - value)
    return Outcome.PASS if margin >= guard else Outcome.FAIL if margin < -guard else Outcome.INCONCLUSIVE


def good_row(channel: int, coarse: int, fine: int, source: random.Random) -> SettingResult:
    predicted = 4096 / (FULL_SCALES[coarse] * (1 - 0.03 * fine))
    residual = source.gauss(0.0, 0.12) + 0.25 * math.sin(coarse + channel)
    word = code_word(channel, coarse, fine)
    arithmetic = coarse == 10
    return SettingResult(
        setting=Setting(channel, coarse, fine),
        label=f"ch{channel} {RANGES[coarse]} {FINE[fine]}",
        outcome=Outcome.PASS,
        reason="",
        expected_word=word,
        captured_words=(str(word),),
        word_outcome=Outcome.PASS,
        predicted_codes_per_v=predicted,
        measured_codes_per_v=predicted * math.exp(residual / 100),
        residual_percent=residual,
        up_down_percent=source.gauss(0.0, 0.03),
        drive_vpk=0.35 * FULL_SCALES[coarse],
        fill_ratio=0.7 * (1 + 0.1 * source.random()),
        offset_code=source.gauss(0.0, 4.0),
        noise_code=0.6 + 0.2 * source.random(),
        code_spacing=2 if arithmetic else 1,
        realness=Realness.ARITHMETIC if arithmetic else Realness.HARDWARE,
        arithmetic_ratio=2.0 if arithmetic else 1.0,
        attempts=2,
    )


def rejudged(row: SettingResult) -> SettingResult:
    """The outcome that its residual has."""
    if row.residual_percent is None:
        return row
    outcome = decide(row.residual_percent, -LIMIT, LIMIT, GUARD)
    text = f"{row.label}: gain {row.residual_percent:+.3g} percent, allowed -2 to +2 percent"
    return dataclasses.replace(row, outcome=outcome, reason="" if outcome is Outcome.PASS else text)


def steps_of(rows: list[SettingResult]) -> list[StepResult]:
    by = {row.setting: row for row in rows}
    made = []
    for row in rows:
        at = row.setting
        for kind, other in (
            ("fine", Setting(at.channel, at.coarse, at.fine - 1)),
            ("coarse", Setting(at.channel, at.coarse - 1, at.fine)),
        ):
            low = by.get(other)
            if low is None or not low.measured_codes_per_v or not row.measured_codes_per_v:
                continue
            predicted = row.predicted_codes_per_v / low.predicted_codes_per_v
            measured = row.measured_codes_per_v / low.measured_codes_per_v
            residual = 100 * math.log(measured / predicted)
            limit, guard = (STEP, STEP_GUARD) if kind == "fine" else (COARSE, COARSE_GUARD)
            outcome = decide(residual, -limit, limit, guard)
            text = f"{low.label} to {row.label}: {kind}-step {residual:+.3g} percent, allowed {-limit:g} to {limit:+g}"
            changed = row.expected_word.value != low.expected_word.value
            made.append(
                StepResult(
                    lower=other,
                    upper=at,
                    kind=kind,
                    outcome=outcome,
                    measured_ratio=measured,
                    predicted_ratio=predicted,
                    residual_percent=residual,
                    realness=Realness.HARDWARE if changed else Realness.ARITHMETIC,
                    word_changed=changed,
                    reason="" if outcome is Outcome.PASS else text,
                )
            )
    return made


def claims_of(rows: list[SettingResult], steps: list[StepResult]) -> list[Judgement]:
    def claim(item: str, at: Setting, outcome: Outcome, reason: str, **more: object) -> Judgement:
        filled = {"other": None, "measured": None, "low": None, "high": None, "guard": 0.0, "unit": "", "margin": None}
        return Judgement(item=item, setting=at, outcome=outcome, reason=reason, **{**filled, **more})

    made = []
    for row in rows:
        if row.word_outcome is not None:
            text = "" if row.word_outcome is Outcome.PASS else row.reason
            made.append(claim("word", row.setting, row.word_outcome, text))
        if row.residual_percent is None:
            made.append(claim("measurable", row.setting, row.outcome, row.reason))
            continue
        decided = decide(row.residual_percent, -LIMIT, LIMIT, GUARD)
        more = {"measured": row.residual_percent, "low": -LIMIT, "high": LIMIT, "guard": GUARD, "unit": "percent"}
        more["margin"] = LIMIT - abs(row.residual_percent)
        made.append(claim("gain", row.setting, decided, "" if decided is Outcome.PASS else row.reason, **more))
    for step in steps:
        limit, guard = (STEP, STEP_GUARD) if step.kind == "fine" else (COARSE, COARSE_GUARD)
        more = {"measured": step.residual_percent, "low": -limit, "high": limit, "guard": guard, "unit": "percent"}
        more["margin"] = limit - abs(step.residual_percent or 0.0)
        reason = step.reason
        made.append(claim(f"{step.kind}-step", step.upper, step.outcome, reason, other=step.lower, **more))
    return made


def result(change: Change | None = None, *, channels: int = 4, **changes: object) -> RunResult:
    """A run in which `change` was done to each setting."""
    source = random.Random(20261125)
    rows = [good_row(c, r, f, source) for c in range(1, channels + 1) for r in range(11) for f in range(21)]
    rows = [change(row) for row in rows] if change else rows
    steps = steps_of(rows)
    claims = claims_of(rows, steps)
    seen = {claim.outcome for claim in claims} | {row.outcome for row in rows}
    order = (Outcome.FAIL, Outcome.INVALID, Outcome.INCONCLUSIVE, Outcome.PASS)
    worst: dict[tuple[int, int], float] = {}
    for row in rows:
        key = (row.setting.channel, row.setting.coarse)
        if row.residual_percent is not None and abs(row.residual_percent) >= abs(worst.get(key, 0.0)):
            worst[key] = row.residual_percent
    made = RunResult(
        verdict=next(outcome for outcome in order if outcome in seen),
        complete=True,
        counts=tuple((outcome, sum(row.outcome is outcome for row in rows)) for outcome in Outcome),
        settings=tuple(rows),
        steps=tuple(steps),
        judgements=tuple(claims),
        candidates=(),
        worst=tuple((c, r, value) for (c, r), value in worst.items()),
        gain_limit_percent=(-LIMIT, LIMIT),
        gain_guard_percent=GUARD,
        step_limit_percent=(-STEP, STEP),
        channel_count=channels,
        coarse_names=RANGES,
        fine_names=FINE,
        declared_arithmetic=(10,),
        notes=(),
    )
    return dataclasses.replace(made, **changes)


def shifted(row: SettingResult, by_percent: float) -> SettingResult:
    measured = (row.measured_codes_per_v or 0.0) * math.exp(by_percent / 100)
    residual = (row.residual_percent or 0.0) + by_percent
    return rejudged(dataclasses.replace(row, measured_codes_per_v=measured, residual_percent=residual))


def failing_result() -> RunResult:
    """Channel 3: the 1:10 relay does not pick, three ranges are 20 dB too high. Channel 1: a data bit is stuck."""

    def change(row: SettingResult) -> SettingResult:
        at = row.setting
        if at.channel == 3 and at.coarse in (3, 4, 5):
            return shifted(row, 100 * math.log(10.0))
        if at.channel == 1 and at.coarse == 7 and row.expected_word.value & 16:
            wrong = ControlWord("latch-1", 9, row.expected_word.value & ~16)
            text = f"{row.label}: word {wrong}; planned {row.expected_word}"
            moved = shifted(row, -6.6)
            return dataclasses.replace(moved, captured_words=(str(wrong),), word_outcome=Outcome.FAIL, reason=text)
        if at.channel == 2 and at.coarse == 8:
            return shifted(row, 0.05 * at.fine + 0.9)
        return row

    candidates = (
        Candidate(
            fault="relay-not-picking",
            why="ch3: the three ranges that use relay K1 are off by ×10.00, all other ranges agree with the law",
            test="step a 1 V level through 2V and 200mV by hand; measure the coil of K1",
        ),
        Candidate(
            fault="data-bit-stuck-low",
            why="ch1: bit 4 is low in every captured word of 100mV",
            test="load a walking-one pattern through the adapter",
        ),
    )
    return result(change, candidates=candidates)


def mixed_result() -> RunResult:
    """INVALID and INCONCLUSIVE settings, and a run that was interrupted in channel 4."""

    def change(row: SettingResult) -> SettingResult:
        at = row.setting
        empty = {"measured_codes_per_v": None, "residual_percent": None, "up_down_percent": None, "drive_vpk": None}
        empty |= {"fill_ratio": None, "offset_code": None, "noise_code": None, "code_spacing": None}
        if at.channel == 4 and at.coarse > 6:
            text = f"{row.label}: not read"
            gone = {"captured_words": (), "word_outcome": None, "attempts": 0, "realness": Realness.UNPROVEN}
            return dataclasses.replace(row, outcome=Outcome.INVALID, reason=text, arithmetic_ratio=1.0, **empty, **gone)
        if at.channel == 2 and at.coarse == 5 and at.fine in (3, 4):
            text = f"{row.label}: reading invalid (up): timeout, no answer within 2 s"
            return dataclasses.replace(row, outcome=Outcome.INVALID, reason=text, attempts=6, **empty)
        if at.channel == 1 and at.coarse == 2:
            return shifted(row, 1.9)
        return row

    return result(
        change, complete=False, notes=("The run is incomplete: settings that were not read count as INVALID.",)
    )


FIT, FIT_GUARD = 0.5, 0.04


def parameters(channels: int = 4) -> tuple[ParameterResult, ...]:
    """Channel 2: the 1:10 divider is off; channel 4: its ladder cannot tell the pre-gain; no limit on ln K."""
    rows = []
    for channel in range(1, channels + 1):
        for name, nominal, off in (("ln K", 1.25, 0.2), ("attenuator 1:10", 0.1, -0.12), ("pregain", 4.0, 0.31)):
            off = -1.734 if (channel, name) == (2, "attenuator 1:10") else off
            low, high = (None, None) if name == "ln K" else (-1.0, 1.0)
            idle = (channel, name) == (4, "pregain")
            outcome = None if idle or low is None else decide(off, -1.0, 1.0, 0.1)
            reason = "" if outcome is not Outcome.FAIL else "off by -1.73 percent, allowed -1 to +1 percent"
            rows.append(
                ParameterResult(
                    channel=channel,
                    name=name,
                    nominal=nominal,
                    estimate=nominal * math.exp(off / 100),
                    deviation_percent=off,
                    u_percent=5.0 if idle else 0.012,
                    identifiable=not idle,
                    low=low,
                    high=high,
                    outcome=outcome,
                    reason=f"ch{channel} {name}: {'not exercised' if idle else reason}" if idle or reason else "",
                )
            )
    return tuple(rows)


def budget(group: str, scale: float) -> BudgetTable:
    lines = (
        ("source, amplitude", "common", "rectangular ±0.3 %", 0.173 * scale, None),
        ("converter, non-linearity", "per reading", "rectangular ±0.1 %", 0.058, 50.0),
        ("fit noise", "per reading", "normal 0.01 %", 0.01, 4093.0),
    )
    total = sum(u * u for _, _, _, u, _ in lines)
    return BudgetTable(
        group=group,
        rows=tuple(
            BudgetLine(name=n, kind=k, stated=s, standard_percent=u, dof=d, share_percent=100 * u * u / total)
            for n, k, s, u, d in lines
        ),
        standard_percent=math.sqrt(total),
        common_percent=lines[0][3],
        own_percent=math.hypot(0.058, 0.01),
        expanded_percent=2 * math.sqrt(total),
        factor=2.0,
        dof=6187.4,
        notes=("Terminator taken as 50 ohm.",),
    )


def metrology_result() -> RunResult:
    """Everything that a budget and a fitted law add; one setting off the fitted law only."""
    odd = Setting(3, 6, 4)

    def change(row: SettingResult) -> SettingResult:
        own = 0.12 if row.setting.coarse < 8 else 0.2
        wide = {"expanded_percent": 0.37 + own, "own_percent": own, "tur_ratio": 2.0 / (0.37 + own)}
        fitted = 0.9 if row.setting == odd else (row.residual_percent or 0.0) / 4
        wide |= {"flags": ("hum", "low-noise") if row.setting.fine == 7 else (), "fitted_percent": fitted}
        if row.setting == odd:
            wide |= {"outcome": Outcome.FAIL, "reason": f"{row.label}: residual +0.9 percent, allowed -0.5 to +0.5"}
        return dataclasses.replace(row, **wide)

    made = result(change)
    claims = tuple(
        Judgement(
            item="residual",
            setting=row.setting,
            other=None,
            outcome=decide(row.fitted_percent or 0.0, -FIT, FIT, FIT_GUARD),
            measured=row.fitted_percent,
            low=-FIT,
            high=FIT,
            guard=FIT_GUARD,
            unit="percent",
            margin=FIT - abs(row.fitted_percent or 0.0),
            reason="" if row.setting != odd else row.reason,
        )
        for row in made.settings
    )
    claims += tuple(
        Judgement(
            item="parameter",
            setting=Setting(row.channel, 0, 0),
            other=None,
            outcome=row.outcome,
            measured=row.deviation_percent,
            low=row.low,
            high=row.high,
            guard=0.1,
            unit="percent",
            margin=None,
            reason=row.reason,
        )
        for row in parameters()
        if row.outcome is not None
    )
    return dataclasses.replace(
        made,
        verdict=Outcome.FAIL,
        judgements=(*made.judgements, *claims),
        parameters=parameters(),
        budgets=(budget("20V to 5V", 1.0), budget("2V to 500mV", 1.1), budget("200mV to 10mV", 1.4)),
        notes=tuple(row.reason for row in parameters() if row.reason),
    )


def empty_result() -> RunResult:
    made = result(channels=1)
    nothing = tuple((outcome, 0) for outcome in Outcome)
    return dataclasses.replace(
        made, verdict=Outcome.INVALID, complete=False, counts=nothing, settings=(), steps=(), judgements=(), worst=()
    )


@pytest.fixture(scope="session")
def made() -> SimpleNamespace:
    """The builders, and the usual results made once."""
    return SimpleNamespace(
        header=header,
        events=events,
        result=result,
        good=result(),
        small=result(channels=1),
        failing=failing_result(),
        mixed=mixed_result(),
        empty=empty_result(),
        metrology=metrology_result(),
    )


@pytest.fixture(scope="session")
def pages(made: SimpleNamespace) -> dict[str, str]:
    results = {"good": made.good, "failing": made.failing, "mixed": made.mixed, "empty": made.empty}
    results["metrology"] = made.metrology
    return {name: report.html(made.header(), result, made.events()) for name, result in results.items()}
