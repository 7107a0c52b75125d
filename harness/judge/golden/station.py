"""What a station's look at itself says: level, common factor, noise floor, bus."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from harness.diagnosis import match_factor
from harness.values import Outcome, RunResult, SettingResult, StationPart

LOOP, FACTOR_PART, NOISE, BUS = "loop-back", "exact factors", "noise floor", "bus pattern"
_ORDER = (Outcome.PASS, Outcome.INCONCLUSIVE, Outcome.FAIL, Outcome.INVALID)


def loop_part(differs_percent: Sequence[float], *, allowed_percent: float | None) -> StationPart:
    """Whether the meter reads what the source claims.

    Args:
        differs_percent: 100·ln of the meter's level over the source's, a reading each; empty without a meter.
        allowed_percent: what both state, one on top of the other; None where they state nothing.
    Returns:
        not made without a meter or without stated accuracies: then only the gains of the unit tell of the level.
    Source:
        practice: source to meter before each shift.
    """
    if not differs_percent:
        return StationPart(name=LOOP, outcome=None, text="no reference meter on the bench: the gains alone tell")
    worst = max(differs_percent, key=abs)
    got = f"meter over source {worst:+.3g} % at worst of {len(differs_percent)} levels"
    if allowed_percent is None:
        return StationPart(name=LOOP, outcome=None, text=f"{got}; the bench file states no accuracy to allow")
    outcome = Outcome.PASS if abs(worst) <= allowed_percent else Outcome.FAIL
    return StationPart(name=LOOP, outcome=outcome, text=f"{got}, allowed {allowed_percent:.3g} %")


def factor_part(result: RunResult, *, allowed_percent: float) -> StationPart:
    """Whether all channels share a factor, and which exact one it could be.

    Args:
        result: of the run.
        allowed_percent: of the mean residual of a channel, > 0.
    Returns:
        INVALID where a channel has no valid reading; FAIL where a channel is off, with what makes such a factor.
    Source:
        match_factor.
    """
    by_channel: dict[int, list[float]] = {row.setting.channel: [] for row in result.settings}
    for row in result.settings:
        if row.residual_percent is not None:
            by_channel[row.setting.channel].append(row.residual_percent)
    empty = [channel for channel, found in by_channel.items() if not found]
    if empty or not by_channel:
        which = ", ".join(f"ch{channel}" for channel in empty) or "any channel"
        return StationPart(name=FACTOR_PART, outcome=Outcome.INVALID, text=f"no valid reading of {which}")
    means = {channel: math.fsum(found) / len(found) for channel, found in by_channel.items()}
    worst = max(means.values(), key=abs)
    got = ", ".join(f"ch{channel} {mean:+.3g} %" for channel, mean in means.items())
    if abs(worst) <= allowed_percent:
        return StationPart(name=FACTOR_PART, outcome=Outcome.PASS, text=f"{got}, allowed {allowed_percent:.3g} %")
    rows = match_factor(math.exp(worst / 100.0))
    like = "; ".join(f"×{row.ratio:.4g}: {row.cause}" for row in rows) or "no exact factor is near"
    return StationPart(
        name=FACTOR_PART, outcome=Outcome.FAIL, text=f"{got}, allowed {allowed_percent:.3g} %; {like}"
    )


def noise_part(ratios: Mapping[str, float], *, most_ratio: float) -> StationPart:
    """Whether a quiet input is as quiet as the device file says.

    Args:
        ratios: noise over its typical value, by setting, > 0; empty where none was read.
        most_ratio: so many times more, or less, is not healthy, > 1.
    Returns:
        not made where the device file says nothing of noise.
    Source:
        practice: the noise floor before each shift; less than there can be is no connection.
    """
    if not ratios:
        return StationPart(name=NOISE, outcome=None, text="no [quiet_noise] in the device file, or no valid reading")
    got = ", ".join(f"{label} ×{ratio:.3g}" for label, ratio in ratios.items())
    sound = all(1.0 / most_ratio <= ratio <= most_ratio for ratio in ratios.values())
    text = f"source off, noise over typical: {got}; allowed ×{1.0 / most_ratio:.3g} to ×{most_ratio:.3g}"
    return StationPart(name=NOISE, outcome=Outcome.PASS if sound else Outcome.FAIL, text=text)


def bus_part(result: RunResult) -> StationPart:
    """Whether each setting's word was seen on the bus.

    Args:
        result: of the run, with settings in which each bit stands both ways.
    Returns:
        not made where no words are captured.
    Source:
        practice: a bus pattern before each shift.
    """
    rows = [row for row in result.settings if row.word_outcome is not None]
    if not rows:
        return StationPart(name=BUS, outcome=None, text="no words are captured: no adapter, or the job does not listen")
    bad = [row for row in rows if row.word_outcome is not Outcome.PASS]
    if not bad:
        return StationPart(
            name=BUS, outcome=Outcome.PASS, text=f"{len(rows)} settings, each bit both ways: every word as sent"
        )
    worst = worst_of([row.word_outcome for row in bad])
    return StationPart(
        name=BUS, outcome=worst, text=f"{len(bad)} of {len(rows)} settings: " + "; ".join(map(_word, bad[:3]))
    )


def worst_of(outcomes: Sequence[Outcome | None]) -> Outcome:
    """The outcome of a whole look.

    Args:
        outcomes: of its parts; None for those that could not be made.
    Returns:
        the worst of those made, INVALID before FAIL; INCONCLUSIVE where none was.
    Source:
        the order of outcomes.
    """
    return max((o for o in outcomes if o is not None), key=_ORDER.index, default=Outcome.INCONCLUSIVE)


def _word(row: SettingResult) -> str:
    return f"{row.label} sent {row.expected_word}, seen {', '.join(row.captured_words) or 'nothing'}"
