"""One rung: tries at levels until the record is sound, tries from source-off after a failure; each try recorded."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from harness.amplitude import check_quality
from harness.bench import Clock
from harness.errors import (
    BenchError,
    HostAsleep,
    InstrumentReported,
    MeasureError,
    RefusedUnsafe,
    StationFault,
    WrongInstrument,
)
from harness.sweep.averaging import Average
from harness.sweep.hands import Hands, Selected, unheard
from harness.sweep.journal import Journal
from harness.sweep.levelling import MOST_TRIES, Levels, next_level, seen
from harness.sweep.plan import SweepPlan
from harness.sweep.sleep_watch import SleepWatch
from harness.sweep.steady import read_steady
from harness.values import Purpose, Quality, Reading, ReadingStatus, Rung, SteadyPlan, Waveform

STOPS_THE_RUN = (RefusedUnsafe, StationFault, WrongInstrument)
"""Not a matter of one reading: trying again would be unsafe or pointless."""

LEVELLED = (Purpose.LADDER, Purpose.ANCHOR)
"""Readings of whatever level fits; all others are taken at their own."""


@dataclass(slots=True)
class _Try:
    """What is known of the try under way."""

    number: int
    """0-based within the rung."""
    started_utc: str
    started_s: float
    level_vpk: float = 0.0
    driven: bool = False
    """The level has been set and read back in this try."""
    selected: Selected = field(default_factory=unheard)
    waveform: Waveform | None = None
    steady_v: tuple[float, ...] = ()
    """Read back; the waveform is one record at each."""
    messages: tuple[str, ...] = ()
    """Entries of the error queue that ended the try."""


class RungWalker:
    """Carries out rungs one after another; a bench that is `suspect` is recovered before it is used."""

    def __init__(
        self, hands: Hands, plan: SweepPlan, journal: Journal, clock: Clock, *, source_proven: bool, suspect: bool
    ) -> None:
        self._hands = hands
        self._plan = plan
        self._journal = journal
        self._clock = clock
        self._source_proven = source_proven
        self._suspect = suspect
        self._watch = SleepWatch(clock, journal.note)
        self.slept = False
        """The computer has slept since the anchors were taken last."""
        self._begin(0)

    def walk(self, rung: Rung) -> Reading:
        """Measure one rung.

        Returns the final reading: VALID, UNMEASURABLE or INVALID; every earlier try is recorded too. An error that
        stops the run is recorded as an INVALID reading and raised. A bench that cannot be recovered gives an INVALID
        reading; the run decides whether to go on.
        """
        self._begin(0)
        left = self._plan.retries
        while True:
            try:
                if self._suspect:
                    self._hands.recover()
                    self._suspect = False
                if rung.steady is not None:
                    return self._steadied(rung, rung.steady)
                return self._levelled(rung) if rung.purpose in LEVELLED else self._once(rung)
            except STOPS_THE_RUN as error:
                if self._journal.broken:  # of the reading before
                    raise
                self._record(rung, ReadingStatus.INVALID, _why(error))
                raise
            except (BenchError, MeasureError) as error:
                if self._journal.broken:
                    raise
                self._suspect = True
                error = self._woken(error)
                if isinstance(error, InstrumentReported):
                    self._now.messages = (error.message,)
                reading = self._record(rung, ReadingStatus.RETRIED if left else ReadingStatus.INVALID, _why(error))
            self._journal.note("retry" if left else "invalid", f"{rung.prediction.label}: {reading.reason}")
            if not left:
                return reading
            left -= 1
            self._begin(self._now.number + 1)

    def _levelled(self, rung: Rung) -> Reading:
        levels, level_vpk, left = Levels(), rung.drive_vpk, MOST_TRIES
        average: Average | None = None
        self._now.level_vpk = level_vpk
        self._hands.neighbour.provoke(None)
        self._hands.tune(0.0)
        self._hands.lower(rung.setting, level_vpk)
        selected = self._now.selected = self._hands.select(rung.setting, level_vpk=level_vpk)
        while True:
            quality = self._tried(rung, level_vpk)
            if not (quality.clipped or quality.underfilled):
                average = average or self._average(rung)
                stopped = "" if average is None else self._stopped(rung, average)
                if average is None or stopped:
                    return self._record(rung, ReadingStatus.VALID, "", average, stopped)
                self._record(rung, ReadingStatus.AVERAGED, "")
                self._begin(self._now.number + 1)
                self._now.selected = selected
                continue
            average = None
            self._hands.off()
            left -= 1
            levels = seen(levels, level_vpk, quality)
            wanted_vpk = next_level(
                level_vpk,
                quality,
                levels,
                fill_target=self._plan.fill_target,
                least_vpk=self._plan.level_least_vpk,
                most_vpk=self._plan.level_limit_vpk,
            )
            if wanted_vpk is None or not left:
                return self._no_level(rung, quality)
            self._record(rung, ReadingStatus.RELEVELLED, quality.reason)
            level_vpk = wanted_vpk
            self._begin(self._now.number + 1)
            self._now.selected = selected

    def _average(self, rung: Rung) -> Average | None:
        """Of the ladder's rungs, where the job wants one."""
        plan = self._plan
        if plan.averaging is None or rung.purpose is not Purpose.LADDER:
            return None
        return Average(plan.averaging, rung, plan.device, input_ratio=plan.input_ratio)

    def _stopped(self, rung: Rung, average: Average) -> str:
        """Why the record just taken is the last one; empty when it is not."""
        reading = self._reading(rung, ReadingStatus.VALID, "")
        return average.stops(reading, true_level_vpk=self._hands.true_level_vpk)

    def _once(self, rung: Rung) -> Reading:
        """A reading beside the ladder: at its own level and no other, so a clipped one is nobody's fault."""
        now, hands = self._now, self._hands
        now.level_vpk = rung.drive_vpk
        if rung.via is not None:
            hands.select(rung.via)
        if rung.drive_vpk > 0.0:
            hands.lower(rung.setting, rung.drive_vpk)
        else:
            hands.silence()
        now.selected = hands.select(rung.setting)
        hands.hear(now.selected)
        hands.tune(rung.frequency_hz)
        # After the device's own relays: they move with every source off.
        hands.neighbour.provoke(rung.aggressor)
        quality = self._tried(rung, rung.drive_vpk, fill_low=0.0)
        if quality.clipped and rung.purpose is not Purpose.OVERDRIVEN:
            return self._record(rung, ReadingStatus.INVALID, quality.reason)
        return self._record(rung, ReadingStatus.VALID, "")

    def _steadied(self, rung: Rung, steady: SteadyPlan) -> Reading:
        """A reading at a steady level, its own and no other."""
        now, hands = self._now, self._hands
        now.level_vpk = rung.drive_vpk
        hands.neighbour.provoke(None)
        hands.silence()
        now.selected = hands.select(rung.setting)
        hands.hear(now.selected)
        found = read_steady(hands, rung.setting.channel, steady, self._unclipped)
        now.driven, now.waveform, now.steady_v = True, found.waveform, found.levels_v
        if found.quality.clipped:
            return self._record(rung, ReadingStatus.INVALID, found.quality.reason)
        return self._record(rung, ReadingStatus.VALID, "")

    def _tried(self, rung: Rung, level_vpk: float, *, fill_low: float | None = None) -> Quality:
        """One record at one level; without a level the source is off."""
        now = self._now
        now.level_vpk = level_vpk
        if level_vpk > 0.0:
            self._hands.drive(level_vpk)
        else:
            self._hands.silence()
        now.driven = True
        now.waveform = self._hands.acquire(rung.setting.channel, now.selected, self._journal.settle)
        self._watch.look()
        if fill_low is None:
            return self._checked(now.waveform, self._plan.fill_low, self._plan.fill_high)
        return self._checked(now.waveform, fill_low, 1.0)

    def _unclipped(self, wave: Waveform) -> Quality:
        self._watch.look()
        return self._checked(wave, 0.0, 1.0)

    def _checked(self, wave: Waveform, fill_low: float, fill_high: float) -> Quality:
        converter = self._plan.device.converter
        return check_quality(
            wave.codes,
            low_code=converter.low_code,
            high_code=converter.high_code,
            fill_low=fill_low,
            fill_high=fill_high,
            amplitude_code=None,
        )

    def _woken(self, error: BenchError | MeasureError) -> BenchError | MeasureError:
        """What is wrong with a try: links may well be gone after a sleep, but the sleep is the reason."""
        try:
            self._watch.look()
        except HostAsleep as asleep:
            error = asleep
        self.slept = self.slept or isinstance(error, HostAsleep)
        return error

    def _no_level(self, rung: Rung, quality: Quality) -> Reading:
        """No level gives a sound record: with a proven source that is the device's fault, else nobody's."""
        status = ReadingStatus.UNMEASURABLE if self._source_proven else ReadingStatus.INVALID
        least_vpk, most_vpk = self._plan.level_least_vpk, self._plan.level_limit_vpk
        whose = "" if self._source_proven else "; nothing shows that the source is right: check it and its cables"
        reason = f"no level between {least_vpk:g} and {most_vpk:g} V peak fits; last: {quality.reason}{whose}"
        reading = self._record(rung, status, reason)
        self._journal.note("unmeasurable", f"{rung.prediction.label}: {reason}")
        return reading

    def _begin(self, number: int) -> None:
        """A try of its own: nothing of the one before may be recorded with it."""
        self._now = _Try(number=number, started_utc=self._clock.utc(), started_s=self._clock.now_s())

    def _record(
        self, rung: Rung, status: ReadingStatus, reason: str, average: Average | None = None, stopped: str = ""
    ) -> Reading:
        reading = self._reading(rung, status, reason)
        if average is not None:
            reading = replace(reading, records=average.records, stopped=stopped)
        self._journal.record(reading)
        return reading

    def _reading(self, rung: Rung, status: ReadingStatus, reason: str) -> Reading:
        """The try under way as it would be recorded."""
        now = self._now
        return Reading(
            index=self._journal.next_index,
            setting=rung.setting,
            direction=rung.direction,
            attempt=now.number,
            status=status,
            reason=reason,
            drive_set_vpk=now.level_vpk,
            drive_read_vpk=self._hands.level_vpk if now.driven else 0.0,
            frequency_hz=self._hands.frequency_hz if rung.steady is None else 0.0,
            waveform=now.waveform,
            capture=now.selected.capture,
            capture_reason=now.selected.capture_reason,
            read_back=now.selected.read_back,
            messages=now.messages,
            started_utc=now.started_utc,
            started_s=now.started_s,
            duration_s=self._clock.now_s() - now.started_s,
            purpose=rung.purpose,
            meter_vpk=self._hands.meter_vpk if now.driven else None,
            aggressor_vpk=self._hands.neighbour.level_vpk,
            aggressor_hz=self._hands.neighbour.frequency_hz,
            steady_v=now.steady_v,
        )


def _why(error: Exception) -> str:
    code = error.reason if isinstance(error, MeasureError) else type(error).__name__
    return f"{code}: {error}"
