"""A whole run: readings go in one by one, a result comes out; what they say is one thing, the decision another."""

from __future__ import annotations

import copy
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from harness.bus import BusWiring
from harness.config import DeviceFile, LimitItem
from harness.errors import UsageError
from harness.judge.assemble import assemble
from harness.judge.at_dc import at_dc
from harness.judge.claims import Context, judge_all
from harness.judge.claims.station import STATION_FAULT
from harness.judge.fitted import fit_channels, judge_parameters, residual_expanded_percent
from harness.judge.flags import flag_notes
from harness.judge.gain_budget import BesideBudget, Statement, budget_tables
from harness.judge.limit_set import LimitSet
from harness.judge.measured import Measured
from harness.judge.no_doubt import NoDoubt
from harness.judge.remembered import Remembered
from harness.judge.rows import Gathered
from harness.judge.taken import Taken
from harness.judge.verdict import worst_outcome
from harness.law import GainLaw
from harness.values import (
    GOLDEN_SAYS,
    SHARED_FACTOR,
    Certificate,
    Event,
    Outcome,
    Prediction,
    Reading,
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
        self._bus = bus
        self._input_ratio = input_ratio
        self._statement = statement
        self._certificates = tuple(certificates)
        self._taken: Taken | Remembered = Taken(
            law=law,
            device=device,
            planned=planned,
            bus=bus,
            input_ratio=input_ratio,
            terminal_ratio=terminal_ratio,
            statement=statement,
            waveforms=waveforms,
            extras=extras,
        )

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
        return self._taken.add(reading)

    def measured(self) -> dict[int, Measured]:
        """What the final readings of the ladder said in numbers, and the records that count together with them.

        Returns:
            by the index of the reading; where several records make one, what each of them said by itself.
        """
        return self._taken.measured()

    def remember(self) -> Remembered:
        """What the readings taken so far came to.

        Returns:
            all that a judge of the same setup needs to decide about the whole run; `recall` takes it.
        Source:
            none: a record.
        """
        return self._taken.remember()

    def recall(self, known: Remembered) -> None:
        """Go on as if the readings of a run had been taken.

        Args:
            known: by a judge of the same setup; limits may be others. It has no room for further readings.
        Raises:
            UsageError: it is of other settings than those planned.
        Source:
            none: a record.
        """
        if known.plan != self._taken.plan:
            raise UsageError(
                f"what is known of {len(known.plan)} settings is not that of the {len(self._taken.plan)} planned ones: "
                "take the readings of the run anew"
            )
        self._taken = known

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
        other._taken = self._taken.copy()
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
        every = self._taken.plan
        chosen = every.keys() if only is None else every.keys() & only
        plan = {setting: prediction for setting, prediction in every.items() if setting in chosen}
        context = self._context(events, plan)
        return replace(assemble(context, judge_all(context)), certificates=self._certificates)

    def _context(self, events: Sequence[Event], plan: Mapping[Setting, Prediction]) -> Context:
        facts = self._taken.facts(plan)
        gathered, budget = facts.gathered, facts.budget
        fits = fit_channels(self._law, gathered.values(), self._limits, budget)
        extras = self._taken.beside(plan)
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
            steps=facts.steps,
            pooled=facts.pooled,
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
            bus=self._taken.heard(plan),
            events=_still_true(events),
            uncertainty=budget,
            beside=BesideBudget(statement=self._statement, ladder=budget.items),
            budgets=(*budget_tables(budget), *steady.budget.tables()),
            flags=flag_notes({item.prediction.label: item.flags for item in gathered.values()} | steady.flags),
            extras=extras,
            at_dc=steady,
        )


def _still_true(events: Sequence[Event]) -> tuple[Event, ...]:
    """The journal without what was held against the station before the run was resumed: it was checked again since."""
    resumed = max((index for index, event in enumerate(events) if event.kind == "resumed"), default=-1)
    against = (STATION_FAULT, SHARED_FACTOR, GOLDEN_SAYS)
    return tuple(event for index, event in enumerate(events) if index > resumed or event.kind not in against)
