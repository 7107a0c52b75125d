"""What the readings of a run say, whatever the limits: taken in one by one, worked out once."""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import replace

from harness.bus import BusTally, BusWiring, TimingLimits
from harness.config import DeviceFile
from harness.judge.averaged import Averaged
from harness.judge.extra_reading import ExtraMeasured, measure_extra, place_of, unread
from harness.judge.facts import ChannelFacts, Facts, channel_facts, facts_of, reducer
from harness.judge.gain_budget import Statement
from harness.judge.level import by_meter
from harness.judge.looked import look
from harness.judge.measured import Measured, measure, most_gains
from harness.judge.remembered import Remembered
from harness.judge.rows import Gathered
from harness.judge.waveform import Seen
from harness.law import GainLaw
from harness.values import (
    BusRecord,
    Codes,
    Outcome,
    Prediction,
    Purpose,
    Reading,
    ReadingStatus,
    Rung,
    Setting,
)


class Taken:
    """The readings of a run in numbers."""

    def __init__(
        self,
        *,
        law: GainLaw,
        device: DeviceFile,
        planned: Sequence[tuple[Setting, int]],
        bus: BusWiring | None,
        input_ratio: float,
        terminal_ratio: float,
        statement: Statement | None,
        waveforms: bool,
        extras: Sequence[Rung],
    ) -> None:
        """Take what is needed to measure; arguments as those of RunJudge."""
        self._law = law
        self._device = device
        self._rungs = dict(planned)
        self.plan: Mapping[Setting, Prediction] = {setting: law.predict(setting) for setting, _ in planned}
        self._input_ratio = input_ratio
        self._terminal_ratio = terminal_ratio
        self._statement = statement
        self._reduce = reducer(law, statement, terminal_ratio=terminal_ratio)
        self._waveforms = waveforms
        self._seen: dict[Setting, Seen] = {}
        channels = sorted({setting.channel for setting in self.plan}) if bus is not None else ()
        self._tallies = {channel: BusTally(bus, _timing_limits(device)) for channel in channels if bus is not None}
        self._latches = {
            p.setting.channel: tuple(word.latch for word in (p.state.word, *p.state.more)) for p in self.plan.values()
        }
        self._final: dict[Setting, list[Measured]] = {}
        self._attempts: dict[Setting, int] = {}
        self._tries: dict[Setting, list[float]] = {}
        self._averaged = Averaged()
        self._records: dict[int, Measured] = {}
        self._previous: Codes | None = None
        self._known: dict[tuple[Setting, ...], Facts] = {}
        self._known_channels: dict[tuple[tuple[Setting, ...], tuple[int, ...]], ChannelFacts] = {}
        self._extras = tuple(extras)
        self._open: list[Rung | None] = list(extras)
        self._extra: dict[int, ExtraMeasured] = {}

    def add(self, reading: Reading) -> Outcome | Gathered:
        """Add one reading, in order of recording.

        Args:
            reading: as RunJudge.take.
        Returns:
            the reading of the ladder, reduced; for any other an outcome.
        Source:
            measure.
        """
        self._known.clear()
        self._known_channels.clear()
        reading = by_meter(reading, terminal_ratio=self._terminal_ratio)
        previous = self._previous
        self._previous = previous if reading.waveform is None else reading.waveform.codes
        if reading.purpose is not Purpose.LADDER:
            return self._take_extra(reading)
        setting = reading.setting
        prediction = self.plan.get(setting)
        if prediction is None:
            return Outcome.INVALID
        if reading.status is ReadingStatus.AVERAGED:
            one = self._averaged.add(reading, self._device, self._input_ratio, previous)
            self._records[one.index] = one
            return Outcome.PASS
        self._attempts[setting] = self._attempts.get(setting, 0) + 1
        if not reading.final:
            self._averaged.forget()
            self._tries.setdefault(setting, []).extend(
                most_gains(reading, device=self._device, input_ratio=self._input_ratio)
            )
            return Outcome.PASS
        last = measure(
            reading,
            device=self._device,
            bus=self._tallies.get(setting.channel),
            latches=self._latches[setting.channel],
            input_ratio=self._input_ratio,
            previous=previous,
        )
        measured = self._averaged.with_final(reading, last)
        self._records |= {} if last is measured else {last.index: last}
        known = self._final.setdefault(setting, [])
        known[:] = [each for each in known if not (each.bench_gone and each.direction is reading.direction)]
        known.append(measured)
        if self._waveforms and setting not in self._seen and measured.gain_codes_per_v is not None:
            # The first sound record of a setting shows what there is to see; another adds nothing.
            seen = look(reading, last.fit, device=self._device, input_ratio=self._input_ratio, at=last.fitted)
            self._seen |= {} if seen is None else {setting: seen}
        return Gathered(prediction=prediction, final=(measured,), planned=1, attempts=1)

    def _take_extra(self, reading: Reading) -> Outcome:
        test_hz = self._device.acquisition.frequency_hz
        place = place_of(reading, self._open, test_hz=test_hz) if reading.final and not reading.bench_gone else None
        if place is None:
            return Outcome.PASS
        rung, self._open[place] = self._extras[place], None
        found = measure_extra(reading, rung, device=self._device, input_ratio=self._input_ratio, reduce=self._reduce)
        self._extra[place] = found
        return Outcome.INVALID if found.reason else Outcome.PASS

    def measured(self) -> dict[int, Measured]:
        """What the final readings said in numbers, and records that count together with them; see RunJudge.measured."""
        return {one.index: one for readings in self._final.values() for one in readings} | self._records

    def remember(self) -> Remembered:
        """What they came to, all together; records are no part of it."""
        facts = self.facts(self.plan)
        pooled = {channel: codes.without_records() for channel, codes in facts.pooled.items()}
        return Remembered(
            plan=self.plan,
            all_facts=replace(facts, pooled=pooled),
            all_beside=self.beside(self.plan),
            all_heard=self.heard(self.plan),
            all_measured=self.measured(),
        )

    def copy(self) -> Taken:
        """The same readings; those taken later by either are not known to the other."""
        other = copy.copy(self)
        other._known, other._known_channels = dict(self._known), dict(self._known_channels)
        other._final = {setting: list(readings) for setting, readings in self._final.items()}
        other._attempts = dict(self._attempts)
        other._tries = {setting: list(tries) for setting, tries in self._tries.items()}
        other._seen = dict(self._seen)
        other._tallies = copy.deepcopy(self._tallies)
        other._averaged = self._averaged.copy()
        other._records = dict(self._records)
        other._open, other._extra = list(self._open), dict(self._extra)
        return other

    def facts(self, plan: Mapping[Setting, Prediction]) -> Facts:
        """What follows from the readings of some settings: worked out once for as long as none comes in."""
        settings = tuple(plan)
        if settings not in self._known:
            gathered = {
                setting: Gathered(
                    prediction=prediction,
                    final=tuple(self._final.get(setting, ())),
                    planned=self._rungs[setting],
                    attempts=self._attempts.get(setting, 0),
                    tries_codes_per_v=tuple(self._tries.get(setting, ())),
                )
                for setting, prediction in plan.items()
            }
            extras = self.beside(plan) if self._waveforms else ()
            self._known[settings] = facts_of(
                gathered,
                [
                    self._channel_facts({s: item for s, item in gathered.items() if s.channel == channel}, extras)
                    for channel in sorted({setting.channel for setting in plan})
                ],
                law=self._law,
                statement=self._statement,
                terminal_ratio=self._terminal_ratio,
            )
        return self._known[settings]

    def beside(self, plan: Mapping[Setting, Prediction]) -> tuple[ExtraMeasured, ...]:
        """Every planned reading beside the ladder; those that are missing say so."""
        return tuple(
            self._extra.get(place) or unread(rung)
            for place, rung in enumerate(self._extras)
            if rung.setting in plan or plan.keys() == self.plan.keys()
        )

    def heard(self, plan: Mapping[Setting, Prediction]) -> tuple[BusRecord, ...]:
        """The record of the bus of each channel that some settings are of."""
        return tuple(
            record
            for channel in dict.fromkeys(setting.channel for setting in plan)
            if channel in self._tallies and (record := self._tallies[channel].record(channel)) is not None
        )

    def _channel_facts(self, gathered: Mapping[Setting, Gathered], extras: Sequence[ExtraMeasured]) -> ChannelFacts:
        """The part that is the same in whatever selection of channels."""
        settings = tuple(gathered)
        own = [extra for extra in extras if extra.rung.setting.channel == settings[0].channel]
        key = (settings, tuple(extra.rung.index for extra in own))
        if key not in self._known_channels:
            self._known_channels[key] = channel_facts(
                gathered,
                law=self._law,
                device=self._device,
                seen={setting: one for setting, one in self._seen.items() if setting in gathered},
                extras=own,
            )
        return self._known_channels[key]


def _timing_limits(device: DeviceFile) -> TimingLimits:
    return TimingLimits() if device.bus is None else TimingLimits(**device.bus.timing.model_dump())
