"""W4, W5 and W6 of a channel: what readings beside the ladder tell of two of its settings."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from harness.judge.waveform.clip import Overdriven, clip_level
from harness.judge.waveform.exact import too_perfect
from harness.judge.waveform.offset import offset_change
from harness.judge.waveform.record import Seen
from harness.judge.waveform.result import WaveformTest, decided, unmet
from harness.values import Setting

NOT_ASKED = "the job asks for no such readings: `{key}` in its [extra] table"
ROUNDING_CODE = 0.5
"""Most that the rounding of products moves a mean; both settings may be products."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExactStep:
    """How far a step is from its name, both sides read at one level."""

    lower: Setting
    upper: Setting
    residual_percent: float
    """100·ln(measured/named)."""
    u_percent: float
    """Standard, by the scatter of the rounds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """The readings beside the ladder of one channel, as far as they bear on realness."""

    overdriven: Mapping[Setting, Overdriven | str] | None = None
    """A text where a reading was planned and says nothing; None where the job asks for none at all."""
    exact: Sequence[ExactStep] | None = None
    offsets_code: Mapping[Setting, tuple[float, ...]] | None = None
    """With the source off, by round; NaN for a reading that is missing."""
    beyond_screen: bool = False
    """Whether records hold products beyond the screen."""
    coupling: str = "ac"
    """Of the path: `dc` where a steady level passes all of it."""
    steps: Mapping[tuple[Setting, Setting], ExactStep] = field(init=False)

    def __post_init__(self) -> None:
        found = {(step.lower, step.upper): step for step in self.exact or ()}
        object.__setattr__(self, "steps", {**found, **_between(found)})

    def tests(
        self, reference: Setting, setting: Setting, a: Seen, b: Seen, *, ratio: float
    ) -> tuple[WaveformTest, ...]:
        """What the readings that the job asked for tell of two settings.

        Args:
            reference: the less sensitive one.
            setting: the other.
            a: ordinary record of the reference.
            b: of the setting.
            ratio: name of the setting over that of the reference, > 1.
        Returns:
            W4, W5 and W6 as far as the job asks for them, each able to say that it cannot tell.
        Source:
            see clip_level, too_perfect and offset_change.
        """
        made: list[WaveformTest] = []
        if self.overdriven is not None:
            made.append(self._clip(reference, setting, a, b, ratio))
        if self.exact is not None:
            made.append(self._exact(reference, setting))
        if self.offsets_code is not None:
            made.append(self._offset(reference, setting, a, b))
        return tuple(made)

    def not_asked(self) -> tuple[WaveformTest, ...]:
        """The tests that the job takes no readings for.

        Returns:
            those of W4, W5 and W6, each with the key that would ask for them.
        Source:
            none: a record.
        """
        asked = (
            ("W4", "overdriven", self.overdriven), ("W5", "exact_steps", self.exact),
            ("W6", "offset_pairs", self.offsets_code),
        )  # fmt: skip
        return tuple(unmet(name, NOT_ASKED.format(key=key)) for name, key, readings in asked if readings is None)

    def _clip(self, reference: Setting, setting: Setting, a: Seen, b: Seen, ratio: float) -> WaveformTest:
        known = self.overdriven or {}
        over: list[Overdriven] = []
        for name, place in (("reference", reference), ("setting", setting)):
            found = known.get(place, "source, bench or device permit no level beyond its full scale")
            if isinstance(found, str):
                return unmet("W4", f"{name}: {found}")
            over.append(found)
        return clip_level(a, b, over[0], over[1], ratio=ratio, beyond_screen=self.beyond_screen)

    def _exact(self, reference: Setting, setting: Setting) -> WaveformTest:
        step = self.steps.get((reference, setting))
        if step is None:
            return unmet("W5", "the two settings were not read at one level")
        own = too_perfect([step.residual_percent], u_step_percent=step.u_percent)
        if not own.precondition_met or own.llr > 0.0:
            return own
        # One exact step never suffices; others of its kind count with it where none of them speaks against it.
        alike = [
            other
            for other in self.exact or ()
            if _kind(other.lower, other.upper) == _kind(reference, setting)
            and (other.lower, other.upper) != (reference, setting)
        ]
        each = [too_perfect([other.residual_percent], u_step_percent=other.u_percent) for other in alike]
        if any(not test.precondition_met or test.llr > 0.0 for test in each):
            return own
        if not each:
            return own
        # A step that is the difference of two others adds nothing to them.
        llr = sum(test.llr for test in each) + (own.llr if step in (self.exact or ()) else 0.0)
        return decided("W5", llr, f"{own.why}; {len(each)} more of its kind are as exact", None)

    def _offset(self, reference: Setting, setting: Setting, a: Seen, b: Seen) -> WaveformTest:
        known = self.offsets_code or {}
        codes = np.array([known.get(place, ()) for place in (reference, setting)], dtype=np.float64)
        pairs = codes[:, np.isfinite(codes).all(axis=0)] if codes.size else np.empty((2, 0))
        return offset_change(
            pairs[0] / a.gain_per_v,
            pairs[1] / b.gain_per_v,
            dc_coupled=self.coupling == "dc",
            resolution_v=ROUNDING_CODE / a.gain_per_v + ROUNDING_CODE / b.gain_per_v,
        )


def _kind(lower: Setting, upper: Setting) -> tuple[int, int]:
    """Steps in one range are of one kind, and so are steps between the same two ranges."""
    return lower.coarse, upper.coarse


def _between(found: Mapping[tuple[Setting, Setting], ExactStep]) -> dict[tuple[Setting, Setting], ExactStep]:
    """Steps between two settings of one range that were each held against the same third."""
    made: dict[tuple[Setting, Setting], ExactStep] = {}
    by_first: dict[Setting, list[ExactStep]] = {}
    for step in found.values():
        if step.lower.coarse == step.upper.coarse:
            by_first.setdefault(step.lower, []).append(step)
    for steps in by_first.values():
        for one in steps:
            for other in steps:
                pair = (one.upper, other.upper)
                if one is not other and pair not in found:
                    made[pair] = ExactStep(
                        lower=one.upper,
                        upper=other.upper,
                        residual_percent=other.residual_percent - one.residual_percent,
                        u_percent=math.hypot(one.u_percent, other.u_percent),
                    )
    return made


NOTHING = Beside()
"""Of a job that asks for none of them."""
