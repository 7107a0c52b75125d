"""A part of a run, decided once and asked often."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

from harness.app.suite.claim import Range, index_of
from harness.judge import RunJudge
from harness.report import labels_of
from harness.values import Event, Judgement, RunResult, Setting, SettingResult


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Some ranges of a run, decided by themselves."""

    result: RunResult
    index: Mapping[tuple[int | None, int | None, str], Sequence[Judgement]]
    """Judgements by the place of their claim."""
    labels: Mapping[Setting, str]

    def rows(self, ranges: Collection[Range]) -> tuple[SettingResult, ...]:
        """The settings of some ranges; the part may hold more."""
        return tuple(row for row in self.result.settings if (row.setting.channel, row.setting.coarse) in ranges)

    def judgements(self, item: str, ranges: Collection[Range]) -> tuple[Judgement, ...]:
        """What was decided about an item in some ranges, on their channels as a whole, or on the run."""
        channels = {None, *(channel for channel, _ in ranges)}
        return tuple(
            judgement
            for (channel, coarse, of), found in self.index.items()
            if of == item and ((channel, coarse) in ranges or (coarse is None and channel in channels))
            for judgement in found
        )


class Parts:
    """Decides parts of a run, each once; what is decided depends on the part alone and not on the order of asking."""

    def __init__(
        self, judge: RunJudge, settings: Collection[Setting], events: Callable[[], Sequence[Event]]
    ) -> None:
        self._judge = judge
        self._settings = settings
        self._events = events
        self._known: dict[frozenset[Range], Part] = {}

    def of(self, ranges: Collection[Range]) -> Part:
        """The part made of these ranges, all of them read."""
        key = frozenset(ranges)
        if key not in self._known:
            only = [setting for setting in self._settings if (setting.channel, setting.coarse) in key]
            result = self._judge.result(self._events(), only=only)
            self._known[key] = Part(result=result, index=index_of(result.judgements), labels=labels_of(result))
        return self._known[key]
