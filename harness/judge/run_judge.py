"""A whole run: readings go in one by one, a result comes out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from harness.bus import BusWiring
from harness.config import DeviceFile, LimitItem
from harness.diagnosis import Observation, candidates
from harness.judge.fitted import fit_channel, judge_parameters, parameter_claims, residual_claims
from harness.judge.limits import judge_claim
from harness.judge.measured import Measured, measure
from harness.judge.realness import Evidence, Found, of_settings
from harness.judge.rows import Gathered, evidence_of, gain_claims, realness_claim, row, word_claim
from harness.judge.steps import judge_step
from harness.judge.verdict import worst_outcome
from harness.law import GainLaw, LawFit
from harness.values import (
    Candidate,
    Event,
    Judgement,
    Outcome,
    Prediction,
    Reading,
    ReadingStatus,
    RunResult,
    Setting,
    SettingResult,
    StepResult,
)

SUPERSEDED = (ReadingStatus.RELEVELLED, ReadingStatus.RETRIED)


class RunJudge:
    """Gathers the readings of a run and decides."""

    def __init__(
        self,
        *,
        law: GainLaw,
        device: DeviceFile,
        limits: Mapping[str, LimitItem],
        planned: Sequence[tuple[Setting, int]],
        bus: BusWiring | None,
        input_ratio: float,
    ) -> None:
        """Take what is needed to judge.

        Args:
            law: predicts.
            device: converter, channels, bus.
            limits: by item.
            planned: settings of the ladder in its order, each once, with the number of rungs planned for it.
            bus: wiring of the control bus; None when the run captures no words.
            input_ratio: volts at the device's input per volt that the source is set to.
        """
        self._law = law
        self._device = device
        self._limits = limits
        self._rungs = dict(planned)
        self._plan = {setting: law.predict(setting) for setting, _ in planned}
        self._bus = bus
        self._input_ratio = input_ratio
        self._latches = {
            p.setting.channel: tuple(word.latch for word in (p.state.word, *p.state.more)) for p in self._plan.values()
        }
        self._final: dict[Setting, list[Measured]] = {}
        self._attempts: dict[Setting, int] = {}

    def take(self, reading: Reading) -> Outcome:
        """Add one reading, in order of recording.

        Args:
            reading: any attempt; superseded ones only count.
        Returns:
            a provisional outcome of this reading alone: word and gain, for a progress line.
        Source:
            measure.
        """
        setting = reading.setting
        prediction = self._plan.get(setting)
        if prediction is None:
            return Outcome.INVALID
        self._attempts[setting] = self._attempts.get(setting, 0) + 1
        if reading.status in SUPERSEDED:
            return Outcome.PASS
        measured = measure(
            reading,
            device=self._device,
            wiring=self._bus,
            latches=self._latches[setting.channel],
            input_ratio=self._input_ratio,
        )
        self._final.setdefault(setting, []).append(measured)
        alone = Gathered(prediction=prediction, final=(measured,), planned=1, attempts=1)
        return worst_outcome([claim.outcome for claim in self._own_claims(alone)])

    def result(self, events: Sequence[Event] = ()) -> RunResult:
        """Decide about everything taken so far.

        Args:
            events: the run's journal: a station fault found there makes the run INVALID.
        Returns:
            the result; a setting with a planned reading missing is INVALID and leaves the run incomplete.
        Source:
            practice: three judgements a setting; the record is judged whole.
        """
        gathered = {
            setting: Gathered(
                prediction=prediction,
                final=tuple(self._final.get(setting, ())),
                planned=self._rungs[setting],
                attempts=self._attempts.get(setting, 0),
            )
            for setting, prediction in self._plan.items()
        }
        evidence = {setting: self._evidence(item) for setting, item in gathered.items()}
        found = self._found(evidence)
        fits = self._fits(gathered)
        rows, claims = self._rows(gathered, found, fits)
        parameters = tuple(row for channel, fit in fits.items() for row in judge_parameters(channel, fit, self._limits))
        steps, step_claims = self._steps(evidence)
        station, station_claims = _station(events)
        everything = (*station_claims, *claims, *step_claims, *parameter_claims(parameters))
        verdict = Outcome.INVALID if station_claims else worst_outcome([c.outcome for c in everything])
        observations = [self._observation(item, evidence[s], found[s]) for s, item in gathered.items() if item.final]
        explained = station or candidates(
            observations, code_control=self._device.firmware.code, notes=[e.text for e in events]
        )
        assembled = self._assemble(verdict, rows, steps, everything, explained)
        # A parameter outside its limit may leave every setting inside: the first screen must say it.
        notes = (*assembled.notes, *(row.reason for row in parameters if row.reason))
        return replace(assembled, parameters=parameters, notes=notes)

    def _assemble(
        self,
        verdict: Outcome,
        rows: tuple[SettingResult, ...],
        steps: tuple[StepResult, ...],
        claims: tuple[Judgement, ...],
        explained: tuple[Candidate, ...],
    ) -> RunResult:
        gain, step = self._limits.get("gain"), self._limits.get("fine-step")
        complete = all(len(self._final.get(s, ())) >= count for s, count in self._rungs.items())
        return RunResult(
            verdict=verdict,
            complete=complete,
            counts=tuple((outcome, sum(r.outcome is outcome for r in rows)) for outcome in Outcome),
            settings=rows,
            steps=steps,
            judgements=claims,
            candidates=explained,
            worst=_worst(rows),
            gain_limit_percent=_edges(gain),
            gain_guard_percent=gain.guard if gain else 0.0,
            step_limit_percent=_edges(step),
            channel_count=self._device.channels,
            coarse_names=tuple(coarse.name for coarse in self._device.coarse),
            fine_names=self._device.fine.names(),
            declared_arithmetic=tuple(
                index for index, coarse in enumerate(self._device.coarse) if coarse.arithmetic_ratio != 1.0
            ),
            notes=self._notes(complete),
        )

    def _notes(self, complete: bool) -> tuple[str, ...]:
        notes: list[str] = []
        if not complete:
            notes.append("The run is incomplete: settings with readings missing count as INVALID.")
        if self._bus is None:
            notes.append("No control words were captured: realness is unproven.")
        return tuple(notes)

    def _own_claims(self, item: Gathered) -> tuple[Judgement, ...]:
        words = (word_claim(item),) if self._bus is not None and "word" in self._limits and item.final else ()
        return (*words, *gain_claims(item, self._limits.get("gain")))

    def _rows(
        self, gathered: Mapping[Setting, Gathered], found: Mapping[Setting, Found], fits: Mapping[int, LawFit]
    ) -> tuple[tuple[SettingResult, ...], tuple[Judgement, ...]]:
        rows: list[SettingResult] = []
        everything: list[Judgement] = []
        residuals: dict[Setting, tuple[float, Judgement | None]] = {}
        for fit in fits.values():
            residuals.update(residual_claims(fit, gathered, self._limits.get("residual")))
        for setting, item in gathered.items():
            claims = self._own_claims(item)
            word = next((claim.outcome for claim in claims if claim.item == "word"), None)
            if "realness" in self._limits and item.final:
                claims = (*claims, realness_claim(found[setting], item.prediction))
            fitted_percent, residual = residuals.get(setting, (None, None))
            claims = claims if residual is None else (*claims, residual)
            rows.append(replace(row(item, claims, found[setting], word), fitted_percent=fitted_percent))
            everything.extend(claims)
        return tuple(rows), tuple(everything)

    def _fits(self, gathered: Mapping[Setting, Gathered]) -> dict[int, LawFit]:
        by_channel: dict[int, list[Gathered]] = {}
        for setting, item in gathered.items():
            by_channel.setdefault(setting.channel, []).append(item)
        fits = {c: fit_channel(self._law, items, self._limits.get("gain")) for c, items in by_channel.items()}
        return {channel: fit for channel, fit in fits.items() if fit is not None}

    def _evidence(self, item: Gathered) -> Evidence:
        controls = dict(item.prediction.state.controls)
        channel = item.prediction.setting.channel

        def hardware_of(latched: Mapping[str, int]) -> float:
            seen = self._law.controls_of_words(channel, latched) if latched else {}
            gain = self._law.gain_of({**controls, **seen})
            return gain if gain > 0.0 else self._law.gain_of(controls)

        return evidence_of(item, relays=self._law.relays_of(controls), hardware_of=hardware_of)

    def _found(self, evidence: Mapping[Setting, Evidence]) -> dict[Setting, Found]:
        channels = sorted({setting.channel for setting in evidence})
        found: dict[Setting, Found] = {}
        for channel in channels:
            found.update(of_settings([e for setting, e in evidence.items() if setting.channel == channel]))
        return found

    def _steps(self, evidence: Mapping[Setting, Evidence]) -> tuple[tuple[StepResult, ...], tuple[Judgement, ...]]:
        rows: list[StepResult] = []
        claims: list[Judgement] = []
        for lower, upper, kind in _neighbours(list(evidence)):
            step, decided = judge_step(
                (self._plan[lower], evidence[lower]),
                (self._plan[upper], evidence[upper]),
                kind=kind,
                limits=self._limits,
            )
            if step.measured_ratio is not None:
                rows.append(step)
                claims.extend(decided)
        return tuple(rows), tuple(claims)

    def _observation(self, item: Gathered, seen: Evidence, found: Found) -> Observation:
        prediction: Prediction = item.prediction
        return Observation(
            setting=prediction.setting,
            controls=dict(prediction.state.controls),
            relays=seen.relays,
            residual_percent=item.residual_percent(),
            expected_word=prediction.state.word.value,
            captured_word=seen.word,
            capture_sound=seen.sound,
            realness=found.realness,
            declared_ratio=prediction.state.arithmetic_ratio,
        )


def _neighbours(settings: Sequence[Setting]) -> list[tuple[Setting, Setting, str]]:
    """Pairs next to each other in the ladder: fine in each range, coarse at each fine position."""
    ordered = sorted(settings)
    by_fine = sorted(settings, key=lambda s: (s.channel, s.fine, s.coarse))
    fine = [(a, b, "fine") for a, b in pairwise(ordered) if a.coarse == b.coarse]
    coarse = [(a, b, "coarse") for a, b in pairwise(by_fine) if a.fine == b.fine]
    return [pair for pair in (*fine, *coarse) if pair[0].channel == pair[1].channel]


def _worst(rows: Sequence[SettingResult]) -> tuple[tuple[int, int, float], ...]:
    worst: dict[tuple[int, int], float] = {}
    for item in rows:
        key = (item.setting.channel, item.setting.coarse)
        if item.residual_percent is not None and abs(item.residual_percent) >= abs(worst.get(key, 0.0)):
            worst[key] = item.residual_percent
    return tuple((channel, coarse, value) for (channel, coarse), value in worst.items())


def _edges(limit: LimitItem | None) -> tuple[float, float]:
    if limit is None:
        return (-100.0, 100.0)
    return (-100.0 if limit.low is None else limit.low, 100.0 if limit.high is None else limit.high)


def _station(events: Sequence[Event]) -> tuple[tuple[Candidate, ...], tuple[Judgement, ...]]:
    faults = [event for event in events if event.kind == "station-fault"]
    if not faults:
        return (), ()
    test = "a meter at the device's input shows what the source really puts out"
    named = [
        Candidate(fault=event.text.split(":", 1)[0], why=event.text.split(":", 1)[-1].strip(), test=test)
        for event in faults
    ]
    return tuple(named), (judge_claim("station", Outcome.INVALID, faults[0].text, setting=None),)
