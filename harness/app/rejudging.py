"""Judging a run anew where its store can be reached: in this process, or on a worker that knows nothing but this."""

from __future__ import annotations

import os
from dataclasses import dataclass

from harness.app.run import judged
from harness.app.summing import summarised
from harness.store import open_store
from harness.values import RunSummary


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgeAnew:
    """A function of a run's id that can be sent to another computer."""

    store_url: str
    """An address that means the same there: a server, or a file that all can see."""
    limits_path: str = ""
    """Limits instead of each run's own; empty: its own."""

    def __call__(self, run_id: str) -> RunSummary:
        """The run, judged from its raw record; a store is opened for it and closed."""
        with open_store(self.store_url, read_only=True) as store:
            return summarised(store, *judged(store, run_id, limits_path=self.limits_path, anew=True))


def judge_anew(store_url: str, limits_path: str) -> JudgeAnew:
    """For a store and limits as the user named them: files by their whole paths, for a worker stands elsewhere."""
    url = store_url if "://" in store_url else os.path.abspath(store_url)
    return JudgeAnew(store_url=url, limits_path=os.path.abspath(limits_path) if limits_path else "")
