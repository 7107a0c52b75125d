"""What the planning of readings beside the ladder stands on, and one wanted reading."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from harness.ladder.drive import Drive
from harness.law import GainLaw
from harness.values import Aggressor, Prediction, Purpose, Rung, Setting, SteadyPlan

NEAR_RATIO = 0.02
"""How far the fill at a level that may be set is from the wanted one, at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherSource:
    """The source that drives another channel."""

    channel: int
    drive: Drive


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What the planning stands on."""

    law: GainLaw
    drive: Drive
    ladder: tuple[Rung, ...]
    """Extra readings are taken at settings of the ladder only."""
    fill_target_ratio: float
    range_ends_vpk: tuple[float, ...] = ()
    """Where the source changes its own range; both levels of a pair are best in one."""
    other: OtherSource | None = None
    steady_step_v: float | None = None
    """Least step of the source's steady levels; None where there are none, or the device would not pass them."""

    def channels(self) -> Iterator[tuple[Prediction, ...]]:
        """The predictions of each channel, least sensitive first."""
        by_channel: dict[int, dict[Setting, Prediction]] = {}
        for rung in self.ladder:
            by_channel.setdefault(rung.setting.channel, {})[rung.setting] = rung.prediction
        for channel in sorted(by_channel):
            yield tuple(sorted(by_channel[channel].values(), key=lambda p: p.gain_codes_per_v))

    def relays(self, prediction: Prediction) -> frozenset[str]:
        """The relays that carry current at a setting."""
        return self.law.relays_of(dict(prediction.state.controls))

    def states(self, predictions: Iterable[Prediction]) -> list[list[Prediction]]:
        """Settings by the relays that they need."""
        found: dict[frozenset[str], list[Prediction]] = {}
        for prediction in predictions:
            found.setdefault(self.relays(prediction), []).append(prediction)
        return list(found.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """One wanted reading."""

    purpose: Purpose
    prediction: Prediction
    drive_vpk: float = 0.0
    fill_ratio: float = 0.0
    frequency_hz: float = 0.0
    via: Prediction | None = None
    aggressor: Aggressor | None = None
    steady: SteadyPlan | None = None
