"""A part of a run, decided once and asked often."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

from harness.app.suite.claim import Range, index_of
from harness.judge import RunJudge
from harness.report import labels_of
from harness.values import Event, Judgement, RunResult, Setting


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Some ranges of a run, decided by themselves."""

    result: RunResult
    index: Mapping[tuple[int | None, int | None, str], Sequence[Judgement]]
    """Judgements by the place of their claim."""
    labels: Mapping[Setting, str]


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
