"""Synthetic runs: units drawn within their tolerances, with faults worked out by hand from the planned states."""

from __future__ import annotations

import dataclasses
import math
import random
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from harness.app.setup import Setup, read_setup
from harness.diagnosis import Case, Visit
from harness.values import Prediction

JOBS = Path(__file__).resolve().parents[2] / "configs" / "jobs"
GAIN = frozenset({"gain", "residual"})
Error = Callable[[Prediction, Visit], float | None]
"""Relative error of the gain, G/L - 1; None for no gain at all."""


class Runs:
    """Runs of one job."""

    def __init__(self, job: str) -> None:
        self.setup: Setup = read_setup(str(JOBS / f"{job}.toml"))
        self.law = self.setup.law

    def good(self, *, channels: Sequence[int] = (), seed: int = 1, way: str = "both") -> Case:
        """A unit within its tolerances, read up and down."""
        generator = random.Random(seed)
        wanted = tuple(channels) or tuple(sorted({setting.channel for setting, _ in self.setup.planned()}))
        visits: list[Visit] = []
        for channel in wanted:
            whole_percent = generator.uniform(-0.4, 0.4)
            rising = [setting for setting, _ in self.setup.planned() if setting.channel == channel]
            for setting in (*rising, *(reversed(rising) if way == "both" else ())):
                word = self.law.predict(setting).state.word.value
                visits.append(
                    Visit(
                        setting=setting,
                        order=len(visits),
                        off_percent=whole_percent + generator.gauss(0.0, 0.02),
                        u_percent=0.02,
                        measurable=True,
                        word=word,
                        sound=True,
                    )
                )
        return Case(law=self.law, visits=tuple(visits), captured=True, claimed=frozenset({*GAIN, "word"}))

    def wrong(
        self, case: Case, error: Error, *, channel: int = 0, failed: frozenset[str] = GAIN, words: bool = False
    ) -> Case:
        """The same run with an error in one channel (0: in all); `words` drops the captures."""

        def change(visit: Visit) -> Visit:
            if channel not in (0, visit.setting.channel):
                return visit
            off = error(self.law.predict(visit.setting), visit)
            gone = off is None or off <= -1.0
            percent = None if gone else (visit.off_percent or 0.0) + 100.0 * math.log1p(off or 0.0)
            return dataclasses.replace(visit, off_percent=percent, measurable=not gone)

        touched = case.channels if channel == 0 else (channel,)
        visits = tuple(map(change, case.visits))
        return dataclasses.replace(
            case,
            visits=tuple(dataclasses.replace(v, word=None, sound=False) for v in visits) if words else visits,
            failed={**case.failed, **dict.fromkeys(touched, failed)},
        )


@pytest.fixture(scope="session")
def ci() -> Runs:
    """The short ladder of the HR-4: relays, pre-gain, linear code."""
    return Runs("ci")


@pytest.fixture(scope="session")
def corrie() -> Runs:
    """Every setting of the UR-2: linear in dB, ranges and second amplifier in the word."""
    return Runs("corrie-ur-2")
