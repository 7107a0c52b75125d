"""The runs of a night one by one; a result comes out. Readings pass through, none is kept."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from harness.config import DeviceFile
from harness.judge.decision import share_interval
from harness.judge.measured import measure
from harness.judge.night.coefficient import slope_ppm_per_k
from harness.judge.night.scatter import beyond_percent, deviation_percent, successive_percent
from harness.judge.verdict import worst_outcome
from harness.values import (
    Event,
    NightCoefficient,
    NightFailure,
    NightResult,
    NightRunRow,
    NightScatter,
    NightSeries,
    Outcome,
    Purpose,
    Reading,
    ReadingStatus,
    RunInfo,
    RunResult,
    Setting,
    conditions_of,
)

REST_S = 600.0
"""Before a unit has settled it has been at rest for so long: it settled for that."""
CAUSE_LETTERS = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class RunPart:
    """One run as it is handed in."""

    info: RunInfo
    result: RunResult
    events: Sequence[Event]
    device: DeviceFile
    input_ratio: float
    labels: Mapping[Setting, str]


@dataclass(slots=True)
class _Failing:
    corners: dict[str, None] = field(default_factory=dict)
    count: int = 0
    reason: str = ""
    worst_percent: float | None = None


class NightJudge:
    """Gathers the runs of one night, in order of their beginning."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self._rows: list[NightRunRow] = []
        self._began = self._ended = ""
        self._failing: dict[tuple[str, str], _Failing] = defaultdict(_Failing)
        self._courses: dict[tuple[str, str], list[tuple[float, float, bool]]] = defaultdict(list)
        self._limit_percent: dict[str, tuple[float | None, float | None]] = {}
        self._anchors: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
        self._strips: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
        self._repeat: dict[str, list[float]] = defaultdict(list)
        self._toggle: dict[str, list[float]] = defaultdict(list)
        self._order: dict[str, list[float]] = defaultdict(list)
        self._parameters: dict[tuple[str, int, str], list[tuple[float, float]]] = defaultdict(list)
        self._invalid: Counter[str] = Counter()
        self._words = self._wrong_words = self._readings = 0

    def take(self, part: RunPart, readings: Iterable[Reading]) -> None:
        """Add one run.

        Args:
            part: the run with its result and journal.
            readings: all of them, in order; each is looked at once.
        """
        header, result = part.info.header, part.result
        night, unit = header.night, header.unit
        if night is None:
            return
        self._began = self._began or header.started_utc
        self._ended = max(self._ended, part.info.finished_utc, header.started_utc)
        self._conditions(unit, part.events)
        probe_c, supply_v = _means(part.events)
        worst_ratio, worst_label = _worst(result)
        self._rows.append(NightRunRow(
            run_id=header.run_id, unit=unit, visit=night.visit, corner=night.corner, cycle=night.cycle,
            end=part.info.end, verdict=result.verdict, worst_ratio=worst_ratio, worst_label=worst_label,
            probe_c=probe_c, supply_v=supply_v,
            settled=not any(e.kind == "dwell" and e.text.startswith("NOT") for e in part.events),
        ))  # fmt: skip
        begun_h = self._hours(header.started_utc)
        self._limit_percent[unit] = result.gain_limit_percent
        for row in result.settings:
            if row.residual_percent is not None:
                point = (begun_h, row.residual_percent, row.outcome is Outcome.FAIL)
                self._courses[unit, row.label].append(point)
            if row.outcome is Outcome.FAIL:
                failing = self._failing[unit, row.label]
                failing.corners[night.corner] = None
                failing.count += 1
                failing.reason = failing.reason or row.reason
                if abs(row.residual_percent or 0.0) >= abs(failing.worst_percent or 0.0):
                    failing.worst_percent = row.residual_percent
            if row.outcome is Outcome.INVALID:
                self._invalid[_cause(row.reason.removeprefix(f"{row.label}: "))] += 1
            if row.word_outcome in (Outcome.PASS, Outcome.FAIL):
                self._words += row.attempts
                self._wrong_words += row.attempts if row.word_outcome is Outcome.FAIL else 0
            if row.up_down_percent is not None:
                self._order[unit].append(row.up_down_percent)
        for parameter in result.parameters:
            if probe_c is not None and parameter.identifiable:
                key = (unit, parameter.channel, parameter.name)
                self._parameters[key].append((probe_c, parameter.deviation_percent))
        for setting, gain in self._pass_through(part, readings).items():
            if probe_c is not None:
                key = (unit, setting.channel, f"gain at {_label(part, setting)}, by the anchor")
                self._parameters[key].append((probe_c, 100.0 * math.log(gain)))

    def _pass_through(self, part: RunPart, readings: Iterable[Reading]) -> dict[Setting, float]:
        """Count, draw and compare; the gain of each anchor when it was read last, in the corner and at rest."""
        unit = part.info.header.unit
        last: dict[Setting, tuple[int, float]] = {}
        rest_s = max((e.at_s for e in part.events if e.kind == "dwell"), default=-math.inf) - REST_S
        for reading in readings:
            self._readings += 1
            # Of the ladder its setting is INVALID, and counted with it.
            if reading.status is ReadingStatus.INVALID and reading.purpose is not Purpose.LADDER:
                self._invalid[_cause(reading.reason)] += 1
            if reading.purpose is not Purpose.ANCHOR or reading.status is not ReadingStatus.VALID:
                continue
            gain = measure(
                reading, device=part.device, bus=None, latches=(), input_ratio=part.input_ratio
            ).gain_codes_per_v
            if gain is None:
                continue
            label = _label(part, reading.setting)
            self._anchors[unit, label].append((self._hours(reading.started_utc), gain))
            # While a unit follows its corner, neighbours differ by the ramp and not by how well they repeat.
            if reading.setting in last and reading.started_s >= rest_s:
                index, before = last[reading.setting]
                # Next to each other nothing was moved in between; else the ladder was, relays and all.
                kind = self._repeat if reading.index == index + 1 else self._toggle
                kind[unit].extend(successive_percent((before, gain)))
            last[reading.setting] = (reading.index, gain)
        return {setting: gain for setting, (_, gain) in last.items()}

    def _conditions(self, unit: str, events: Sequence[Event]) -> None:
        for event in events:
            for condition in conditions_of(event):
                self._strips[unit, condition.name].append((self._hours(condition.at_utc), condition.value))

    def _hours(self, at_utc: str) -> float:
        return (datetime.fromisoformat(at_utc) - datetime.fromisoformat(self._began)).total_seconds() / 3600.0

    def rows(self) -> tuple[NightRunRow, ...]:
        """One row for each run taken so far.

        Returns:
            in order of taking.
        """
        return tuple(self._rows)

    def failures(self, known: Iterable[tuple[str, str]]) -> tuple[NightFailure, ...]:
        """What failed.

        Args:
            known: unit and label of what failed in the night before.
        Returns:
            one for each unit and setting, new ones first.
        """
        old = set(known)
        found = [
            NightFailure(
                unit=unit, label=label, corners=tuple(item.corners), count=item.count, reason=item.reason,
                worst_percent=item.worst_percent, new=(unit, label) not in old,
                course=tuple(self._courses.get((unit, label), ())), limit_percent=self._limit_percent[unit],
            )
            for (unit, label), item in self._failing.items()
        ]  # fmt: skip
        return tuple(sorted(found, key=lambda f: (not f.new, f.unit, f.label)))

    def result(
        self,
        *,
        night_id: str,
        planned: int,
        why: Sequence[str],
        toggles: Sequence[tuple[str, str, int, float | None]],
        before: NightResult | None,
        against: Sequence[str],
    ) -> NightResult:
        """Decide about everything taken so far.

        Args:
            night_id: of the night.
            planned: runs that it has.
            why: why it is not whole.
            toggles: unit, relay, toggles, stated life.
            before: the night before; None where there is none.
            against: what is different from it.
        Returns:
            the whole night.
        Source:
            practice: the page that is read at eight in the morning.
        """
        first = self._rows[0].unit if self._rows else ""
        bound = share_interval(self._wrong_words, trials=self._words, two_sided=False)[1] if self._words else None
        finished = sum(row.end == "finished" for row in self._rows)
        known = [(f.unit, f.label) for f in before.failures] if before is not None else []
        return NightResult(
            night_id=night_id,
            began_utc=self._began,
            ended_utc=self._ended,
            planned=planned,
            finished=finished,
            verdict=worst_outcome([row.verdict for row in self._rows]),
            why=tuple(why),
            units=tuple(dict.fromkeys(row.unit for row in self._rows)),
            corners=tuple(dict.fromkeys(row.corner for row in self._rows if row.unit == first)),
            runs=tuple(self._rows),
            failures=self.failures(known),
            anchors=tuple(_relative(unit, name, points) for (unit, name), points in self._anchors.items()),
            strips=tuple(
                NightSeries(unit=unit, name=name, points=tuple(points)) for (unit, name), points in self._strips.items()
            ),
            scatter=tuple(self._scatter(unit) for unit in dict.fromkeys(row.unit for row in self._rows)),
            coefficients=tuple(self._coefficients()),
            words=self._words,
            wrong_words=self._wrong_words,
            word_error_bound_ratio=bound,
            readings=self._readings,
            toggles=tuple(toggles),
            invalid=tuple(self._invalid.most_common()),
            before_id=before.night_id if before is not None else "",
            against=tuple(against),
        )

    def _scatter(self, unit: str) -> NightScatter:
        repeat_percent = deviation_percent(self._repeat[unit])
        toggled_percent = deviation_percent(self._toggle[unit])
        ways_percent = deviation_percent(self._order[unit])
        moved_percent = toggled_percent if toggled_percent is not None else repeat_percent
        return NightScatter(
            unit=unit,
            repeat_percent=repeat_percent,
            toggle_percent=beyond_percent(toggled_percent, repeat_percent),
            order_percent=beyond_percent(ways_percent, moved_percent),
        )

    def _coefficients(self) -> Iterable[NightCoefficient]:
        for (unit, channel, name), points in self._parameters.items():
            found = slope_ppm_per_k([c for c, _ in points], [d for _, d in points])
            if found is not None:
                yield NightCoefficient(
                    unit=unit, channel=channel, parameter=name, ppm_per_k=found[0], u_ppm_per_k=found[1],
                    runs=len(points),
                )  # fmt: skip


def _label(part: RunPart, setting: Setting) -> str:
    return part.labels.get(setting, str(setting))


def _cause(reason: str) -> str:
    """The beginning of a reason, so that the same ones are counted together."""
    return ": ".join(reason.split(": ")[:2])[:CAUSE_LETTERS] or "unknown"


def _means(events: Sequence[Event]) -> tuple[float | None, float | None]:
    """Mean probe temperature and supply voltage behind the dwell."""
    settled = max((index for index, event in enumerate(events) if event.kind == "dwell"), default=-1)
    found: dict[str, list[float]] = defaultdict(list)
    for event in events[settled + 1 :]:
        for condition in conditions_of(event):
            found[condition.name].append(condition.value)
    probes, volts = found["probe_c"], found["supply_v"]
    return (sum(probes) / len(probes) if probes else None, sum(volts) / len(volts) if volts else None)


def _worst(result: RunResult) -> tuple[float | None, str]:
    """The residual nearest to, or furthest beyond, its limit: over the limit, with its sign."""
    low, high = result.gain_limit_percent
    worst_ratio, label = None, ""
    for row in result.settings:
        percent = row.residual_percent
        edge = None if percent is None else (high if percent > 0.0 else low)
        if percent is None or not edge:
            continue
        ratio = math.copysign(abs(percent / edge), percent)
        if worst_ratio is None or abs(ratio) > abs(worst_ratio):
            worst_ratio, label = ratio, row.label
    return worst_ratio, label


def _relative(unit: str, name: str, points: Sequence[tuple[float, float]]) -> NightSeries:
    first = points[0][1]
    return NightSeries(
        unit=unit, name=name, points=tuple((hours, 100.0 * math.log(gain / first)) for hours, gain in points)
    )
