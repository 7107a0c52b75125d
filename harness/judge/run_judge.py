"""A whole run: readings go in one by one, a result comes out."""

from __future__ import annotations

import copy
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from harness.bus import BusTally, BusWiring, TimingLimits
from harness.config import DeviceFile, LimitItem
from harness.judge.assemble import assemble
from harness.judge.at_dc import at_dc
from harness.judge.averaged import Averaged
from harness.judge.claims import Context, judge_all
from harness.judge.claims.station import STATION_FAULT
from harness.judge.extra_reading import ExtraMeasured, measure_extra, place_of, unread
from harness.judge.facts import ChannelFacts, Facts, channel_facts, facts_of, reducer
from harness.judge.fitted import fit_channels, judge_parameters, residual_expanded_percent
from harness.judge.flags import flag_notes
from harness.judge.gain_budget import BesideBudget, Statement, budget_tables
from harness.judge.level import by_meter
from harness.judge.limit_set import LimitSet
from harness.judge.looked import look
from harness.judge.measured import Measured, measure, most_gains
from harness.judge.no_doubt import NoDoubt
from harness.judge.rows import Gathered
from harness.judge.verdict import worst_outcome
from harness.judge.waveform import Seen
from harness.law import GainLaw
from harness.values import (
    GOLDEN_SAYS,
    SHARED_FACTOR,
    Certificate,
    Codes,
    Event,
    Outcome,
    Prediction,
    Purpose,
    Reading,
    ReadingStatus,
    Rung,
    RunResult,
    Setting,
)


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
        terminal_ratio: float = 1.0,
        statement: Statement | None = None,
        waveforms: bool = True,
        extras: Sequence[Rung] = (),
        certificates: Sequence[Certificate] = (),
    ) -> None:
        """Take what is needed to judge.

        Args:
            law: predicts.
            device: converter, channels, bus.
            limits: by item.
            planned: settings of the ladder in its order, each once, with the number of rungs planned for it.
            bus: wiring of the control bus; None when the run captures no words.
            input_ratio: volts at the device's input per volt that the source is set to.
            terminal_ratio: volts at the source's terminals, where a meter hangs, per volt that the source is set to.
            statement: what bench and device leave open about a gain; None makes no budget.
            waveforms: whether records are looked at for realness; a provisional outcome needs none of it.
            extras: readings planned beside the ladder.
            certificates: of the instruments; only told, they decide nothing.
        """
        self._law = law
        self._device = device
        self._limits = limits if isinstance(limits, LimitSet) else LimitSet(tuple(limits.items()))
        self._rungs = dict(planned)
        self._plan = {setting: law.predict(setting) for setting, _ in planned}
        self._bus = bus
        self._input_ratio = input_ratio
        self._terminal_ratio = terminal_ratio
        self._statement = statement
        self._reduce = reducer(law, statement, terminal_ratio=terminal_ratio)
        self._waveforms = waveforms
        self._seen: dict[Setting, Seen] = {}
        channels = sorted({setting.channel for setting in self._plan}) if bus is not None else ()
        self._tallies = {channel: BusTally(bus, _timing_limits(device)) for channel in channels if bus is not None}
        self._latches = {
            p.setting.channel: tuple(word.latch for word in (p.state.word, *p.state.more)) for p in self._plan.values()
        }
        self._final: dict[Setting, list[Measured]] = {}
        self._attempts: dict[Setting, int] = {}
        self._tries: dict[Setting, list[float]] = {}
        self._averaged = Averaged()
        self._records: dict[int, Measured] = {}
        self._previous: Codes | None = None
        self._known: dict[tuple[Setting, ...], Facts] = {}
        self._known_channels: dict[tuple[tuple[Setting, ...], tuple[int, ...]], ChannelFacts] = {}
        self._certificates = tuple(certificates)
        self._extras = tuple(extras)
        self._open: list[Rung | None] = list(extras)
        self._extra: dict[int, ExtraMeasured] = {}

    def take(self, reading: Reading) -> Outcome:
        """Add one reading, in order of recording.

        Args:
            reading: any attempt; superseded ones only count, and one taken for another purpose than the ladder counts
                as the extra reading that it was planned as. The one that a resumed run takes again replaces the one
                that had no working bench.
        Returns:
            a provisional outcome of this reading alone: word and gain, for a progress line.
        Source:
            measure.
        """
        made = self.add(reading)
        if isinstance(made, Outcome):
            return made
        context = Context(
            law=self._law,
            device=self._device,
            limits=self._limits,
            captured=self._bus is not None,
            gathered={reading.setting: made},
            uncertainty=NoDoubt(),
        )
        return worst_outcome([claim.outcome for _, claim in judge_all(context, provisional=True)])

    def add(self, reading: Reading) -> Outcome | Gathered:
        """Add one reading as take does, where nobody asks how it looks alone.

        Args:
            reading: as take.
        Returns:
            the reading of the ladder, reduced; for any other what take returns.
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
        prediction = self._plan.get(setting)
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
        found = measure_extra(
            reading, rung, device=self._device, input_ratio=self._input_ratio, reduce=self._reduce
        )
        self._extra[place] = found
        return Outcome.INVALID if found.reason else Outcome.PASS

    def measured(self) -> dict[int, Measured]:
        """What the final readings of the ladder said in numbers, and the records that count together with them.

        Returns:
            by the index of the reading; where several records make one, what each of them said by itself.
        """
        return {one.index: one for readings in self._final.values() for one in readings} | self._records

    def under(self, limits: LimitSet) -> RunJudge:
        """The same readings, to be decided by other limits.

        Args:
            limits: of the same device.
        Returns:
            another judge; readings taken later by either are not known to the other.
        Source:
            design rule: record first, then judge, and judge again.
        """
        other = copy.copy(self)
        other._limits = limits
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

    def result(self, events: Sequence[Event] = (), *, only: Collection[Setting] | None = None) -> RunResult:
        """Decide about everything taken so far.

        Args:
            events: the run's journal: a station fault found there makes the run INVALID.
            only: settings that alone are decided about, as if no other were planned; None for all. The
                record of the bus covers everything heard of their channels.
        Returns:
            the result; a setting with a planned reading missing is INVALID and leaves the run incomplete.
        Source:
            practice: three judgements a setting; the record is judged whole.
        """
        chosen = self._plan.keys() if only is None else self._plan.keys() & only
        plan = {setting: prediction for setting, prediction in self._plan.items() if setting in chosen}
        context = self._context(events, plan)
        return replace(assemble(context, judge_all(context)), certificates=self._certificates)

    def _context(self, events: Sequence[Event], plan: Mapping[Setting, Prediction]) -> Context:
        facts = self._facts(plan)
        gathered, budget, pooled = facts.gathered, facts.budget, facts.pooled
        fits = fit_channels(self._law, gathered.values(), self._limits, budget)
        extras = self._taken(plan)
        steady = at_dc(extras, law=self._law, statement=self._statement, input_ratio=self._input_ratio)
        return Context(
            law=self._law,
            device=self._device,
            limits=self._limits,
            captured=self._bus is not None,
            gathered=gathered,
            found={setting: ground.found for setting, ground in facts.grounds.items()},
            grounds={setting: ground.values for setting, ground in facts.grounds.items()},
            evidence=facts.evidence,
            steps=facts.steps, pooled=pooled,
            fitted_percent={
                setting: percent
                for fit in fits.values()
                for setting, percent in zip(fit.settings, fit.residual_percent.tolist(), strict=True)
            },
            fitted_expanded_percent={
                setting: percent
                for fit in fits.values()
                for setting, percent in zip(fit.settings, residual_expanded_percent(fit, budget), strict=False)
            },
            parameters=tuple(
                row for channel, fit in fits.items() for row in judge_parameters(channel, fit, self._limits, budget)
            ),
            bus=tuple(
                record
                for channel in dict.fromkeys(setting.channel for setting in plan)
                if channel in self._tallies and (record := self._tallies[channel].record(channel)) is not None
            ),
            events=_still_true(events),
            uncertainty=budget,
            beside=BesideBudget(statement=self._statement, ladder=budget.items),
            budgets=(*budget_tables(budget), *steady.budget.tables()),
            flags=flag_notes({item.prediction.label: item.flags for item in gathered.values()} | steady.flags),
            extras=extras,
            at_dc=steady,
        )

    def _taken(self, plan: Mapping[Setting, Prediction]) -> tuple[ExtraMeasured, ...]:
        """Every planned reading beside the ladder; those that are missing say so."""
        return tuple(
            self._extra.get(place) or unread(rung)
            for place, rung in enumerate(self._extras)
            if rung.setting in plan or plan.keys() == self._plan.keys()
        )

    def _facts(self, plan: Mapping[Setting, Prediction]) -> Facts:
        """What follows from the readings whatever the limits: worked out once for as long as none comes in."""
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
            extras = self._taken(plan) if self._waveforms else ()
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

    def _channel_facts(
        self, gathered: Mapping[Setting, Gathered], extras: Sequence[ExtraMeasured]
    ) -> ChannelFacts:
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


def _still_true(events: Sequence[Event]) -> tuple[Event, ...]:
    """The journal without what was held against the station before the run was resumed: it was checked again since."""
    resumed = max((index for index, event in enumerate(events) if event.kind == "resumed"), default=-1)
    against = (STATION_FAULT, SHARED_FACTOR, GOLDEN_SAYS)
    return tuple(event for index, event in enumerate(events) if index > resumed or event.kind not in against)


def _timing_limits(device: DeviceFile) -> TimingLimits:
    return TimingLimits() if device.bus is None else TimingLimits(**device.bus.timing.model_dump())
