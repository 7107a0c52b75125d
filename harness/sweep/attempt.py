"""One rung: tries at levels until the record is sound, tries from source-off after a failure; each try recorded."""

from __future__ import annotations

from dataclasses import dataclass, field

from harness.amplitude import check_quality
from harness.bench import Clock
from harness.errors import BenchError, LinkLost, MeasureError, RefusedUnsafe, StationFault, WrongInstrument
from harness.sweep.hands import Hands
from harness.sweep.journal import Journal
from harness.sweep.levelling import MOST_TRIES, Levels, next_level, seen
from harness.sweep.plan import SweepPlan
from harness.values import Quality, Reading, ReadingStatus, Rung, Waveform

STOPS_THE_RUN = (RefusedUnsafe, StationFault, WrongInstrument)
"""Not a matter of one reading: trying again would be unsafe or pointless."""


@dataclass(slots=True)
class _Try:
    """What is known of the try under way."""

    started_utc: str
    started_s: float
    level_vpk: float = 0.0
    read_back: tuple[tuple[str, str], ...] = ()
    waveform: Waveform | None = None
    driven: bool = field(default=False)


class RungWalker:
    """Carries out rungs one after another."""

    def __init__(self, hands: Hands, plan: SweepPlan, journal: Journal, clock: Clock, *, source_proven: bool) -> None:
        self._hands = hands
        self._plan = plan
        self._journal = journal
        self._clock = clock
        self._source_proven = source_proven
        self._suspect = False

    def walk(self, rung: Rung) -> Reading:
        """Measure one rung.

        Returns the final reading: VALID, UNMEASURABLE or INVALID; every earlier try is recorded too. LinkLost from the
        last recovery leaves as part of an INVALID reading; the run decides whether to go on.
        """
        attempt = 0
        for chance in range(self._plan.retries + 1):
            last = chance == self._plan.retries
            current = self._begin(rung)
            try:
                if self._suspect:
                    self._hands.recover()
                    self._suspect = False
                reading, attempt = self._levelled(rung, current, attempt)
            except STOPS_THE_RUN:
                raise
            except (BenchError, MeasureError) as error:
                self._suspect = True
                status = ReadingStatus.INVALID if last else ReadingStatus.RETRIED
                reading = self._reading(rung, current, attempt, status, _why(error))
                self._journal.record(reading)
                self._journal.note("retry" if not last else "invalid", f"{rung.prediction.label}: {reading.reason}")
                attempt += 1
                if last:
                    return reading
                continue
            return reading
        raise LinkLost("a rung needs at least one try")  # pragma: no cover - retries >= 0 by the job file's check

    def _levelled(self, rung: Rung, current: _Try, attempt: int) -> tuple[Reading, int]:
        levels = Levels()
        level_vpk = rung.drive_vpk
        self._hands.lower_before(rung, level_vpk)
        current.read_back = self._hands.select(rung.setting)
        for _ in range(MOST_TRIES):
            current.level_vpk = level_vpk
            self._hands.drive(level_vpk)
            current.driven = True
            current.waveform = self._hands.acquire(rung.setting.channel)
            quality = self._quality(current.waveform)
            if not (quality.clipped or quality.underfilled):
                reading = self._reading(rung, current, attempt, ReadingStatus.VALID, "")
                self._journal.record(reading)
                return reading, attempt
            levels = seen(levels, level_vpk, quality)
            wanted = next_level(
                level_vpk,
                quality,
                levels,
                fill_target=self._plan.fill_target,
                least_vpk=self._plan.level_least_vpk,
                most_vpk=self._plan.level_limit_vpk,
            )
            self._hands.off()
            if wanted is None:
                break
            self._journal.record(self._reading(rung, current, attempt, ReadingStatus.RELEVELLED, quality.reason))
            attempt += 1
            level_vpk = wanted
            current = self._again(current)
        return self._no_level(rung, current, attempt, quality)

    def _no_level(self, rung: Rung, current: _Try, attempt: int, quality: Quality) -> tuple[Reading, int]:
        """No level gives a sound record: with a proven source that is the device's fault, else nobody's."""
        status = ReadingStatus.UNMEASURABLE if self._source_proven else ReadingStatus.INVALID
        least_vpk, most_vpk = self._plan.level_least_vpk, self._plan.level_limit_vpk
        reason = f"no level between {least_vpk:g} and {most_vpk:g} V peak fits; last: "
        reading = self._reading(rung, current, attempt, status, reason + quality.reason)
        self._journal.record(reading)
        self._journal.note("unmeasurable", f"{rung.prediction.label}: {reading.reason}")
        return reading, attempt

    def _quality(self, waveform: Waveform) -> Quality:
        converter = self._plan.device.converter
        return check_quality(
            waveform.codes,
            low_code=converter.low_code,
            high_code=converter.high_code,
            fill_low=self._plan.fill_low,
            fill_high=self._plan.fill_high,
            amplitude_code=None,
        )

    def _begin(self, rung: Rung) -> _Try:
        return _Try(started_utc=self._clock.utc(), started_s=self._clock.now_s(), level_vpk=rung.drive_vpk)

    def _again(self, current: _Try) -> _Try:
        fresh = _Try(started_utc=self._clock.utc(), started_s=self._clock.now_s())
        fresh.read_back = current.read_back
        return fresh

    def _reading(self, rung: Rung, current: _Try, attempt: int, status: ReadingStatus, reason: str) -> Reading:
        return Reading(
            index=self._journal.next_index,
            setting=rung.setting,
            direction=rung.direction,
            attempt=attempt,
            status=status,
            reason=reason,
            drive_set_vpk=current.level_vpk,
            drive_read_vpk=self._hands.level_vpk if current.driven else 0.0,
            frequency_hz=self._hands.frequency_hz,
            waveform=current.waveform,
            capture=self._hands.capture,
            capture_reason=self._hands.capture_reason,
            read_back=current.read_back,
            messages=(),
            started_utc=current.started_utc,
            started_s=current.started_s,
            duration_s=self._clock.now_s() - current.started_s,
        )


def _why(error: Exception) -> str:
    code = error.reason if isinstance(error, MeasureError) else type(error).__name__
    return f"{code}: {error}"
