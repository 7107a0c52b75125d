"""Before the ladder: is the station right? What all channels share points to it: a factor, late gains, contacts."""

from __future__ import annotations

import math
from collections.abc import Sequence

from harness.amplitude import fit_sine3
from harness.errors import StationFault
from harness.sweep.checks.contact import check_contact
from harness.sweep.checks.exchange import check_cables
from harness.sweep.checks.gentle import FILL_RATIO, Gentle
from harness.sweep.checks.meter import check_meter
from harness.sweep.checks.waits import check_waits
from harness.sweep.hands import Hands
from harness.sweep.journal import Journal
from harness.sweep.plan import SweepPlan
from harness.values import SHARED_FACTOR, Rung, shared_factor_text

ALIKE_PERCENT = 3.0
"""Channels and ranges that share one factor agree this well: healthy ones mostly lie within 1 % of the law."""
FEWEST_CHANNELS = 2
"""So many that share a factor speak for the station; one alone for nobody."""
NOISE_WINDOW_RATIO = 1.35
"""The device's noise has moved with a factor, or has stayed, when it is this close to it."""

UNDECIDED = "device and source are not told apart"


def self_check(hands: Hands, plan: SweepPlan, journal: Journal) -> bool:
    """Drive each channel of the ladder gently and compare with the law.

    Returns True when the source is proven good: some channel is as predicted in some range, or the device's own noise
    shows that the device is what changed. False when nothing is proven. StationFault when all channels and ranges share
    a factor that the device's own noise does not share, when the meter alone contradicts the law, when the cables of
    two channels are exchanged, when the gain of all channels comes later than is waited for, or another contact makes
    it each time the source is switched on.
    """
    middles, gentle = _middles(plan.rungs), Gentle(hands, plan)
    found = {rung.prediction.label: gentle.ratio(rung) for rung in middles}
    check_meter(gentle, found, middles)
    wrong = [rung for rung in middles if not _as_predicted(found[rung.prediction.label], plan)]
    if wrong:
        check_cables(gentle, wrong, middles)
    proven = len(wrong) < len(middles)
    if not proven:
        # A relay or a pre-gain that is wrong moves some ranges, a wrong source moves all of them.
        for rung in _other_ranges(plan.rungs, middles):
            found[rung.prediction.label] = ratio = gentle.ratio(rung)
            if proven := _as_predicted(ratio, plan):
                break
    said = ", ".join(f"{label} {'no valid record' if r is None else f'×{r:.4g}'}" for label, r in found.items())
    text = f"gain over prediction at {FILL_RATIO:g} fill: {said}"
    if proven:
        _waits_and_contacts(gentle, middles, journal, text)
        return True
    journal.note("self-check", text)
    logs_percent = [100.0 * math.log(ratio) for ratio in found.values() if ratio is not None]
    everywhere = all(found[rung.prediction.label] is not None for rung in middles)
    if not everywhere or max(logs_percent) - min(logs_percent) > ALIKE_PERCENT:
        return False
    return _is_the_device(hands, plan, journal, math.exp(sum(logs_percent) / len(logs_percent) / 100.0), len(middles))


def _waits_and_contacts(gentle: Gentle, middles: Sequence[Rung], journal: Journal, text: str) -> None:
    """What scatters or comes late in all channels is the station's; see the checks."""
    try:
        moved_percent = check_waits(gentle, middles)
        if moved_percent is not None:
            text += f"; moved by {moved_percent:+.2g} % while waiting longer after a change of range"
        span_percent = check_contact(gentle, middles)
        if span_percent is not None:
            text += f"; span {span_percent:.2g} % by switching the source off and on"
    finally:
        journal.note("self-check", text)


def _as_predicted(ratio: float | None, plan: SweepPlan) -> bool:
    return ratio is not None and abs(100.0 * math.log(ratio)) <= plan.self_check_percent


def _middles(rungs: Sequence[Rung]) -> list[Rung]:
    """One rung a channel, near the middle of the ladder: neither millivolts nor the largest level."""
    by_channel: dict[int, list[Rung]] = {}
    for rung in rungs:
        by_channel.setdefault(rung.setting.channel, []).append(rung)
    return [sorted(own, key=lambda r: r.drive_vpk)[len(own) // 2] for own in by_channel.values()]


def _other_ranges(rungs: Sequence[Rung], known: Sequence[Rung]) -> list[Rung]:
    """One rung of each range that is not known yet."""
    ranges = {(rung.setting.channel, rung.setting.coarse): rung for rung in rungs}
    for rung in known:
        del ranges[rung.setting.channel, rung.setting.coarse]
    return list(ranges.values())


def _undecided(plan: SweepPlan, journal: Journal, ratio: float, channels: int, text: str) -> bool:
    """Nobody can tell. Of a channel alone the unit is as likely: then nothing is held against the station."""
    journal.note("self-check", f"{text}: {UNDECIDED}")
    if channels >= FEWEST_CHANNELS:
        names = ", ".join(plan.factor_faults(ratio))
        journal.note(
            SHARED_FACTOR,
            shared_factor_text(
                ratio,
                f"shared by {channels} channels: the station ({names}) or the unit. Measure a golden unit on this "
                "station (`gainladder golden check`) and run again: by its last check the run is then the station's or "
                "the unit's",
            ),
        )
    return False


def _is_the_device(hands: Hands, plan: SweepPlan, journal: Journal, ratio: float, channels: int) -> bool:
    """All channels share a factor. With the source off, only the device's own noise is left: has it moved too?"""
    typical = plan.device.quiet_noise
    text = f"all channels are off by ×{ratio:.4g}"
    if typical is None:
        return _undecided(plan, journal, ratio, channels, f"{text}; no [quiet_noise] in the device file")
    rung = next((r for r in plan.rungs if (r.setting.coarse, r.setting.fine) == typical.place(plan.device)), None)
    if rung is None:
        return _undecided(plan, journal, ratio, channels, f"{text}; quiet-noise setting not in the ladder")
    hands.off()
    hands.select(rung.setting, listen=False)
    wave = hands.acquire(rung.setting.channel)
    noise_code = fit_sine3(wave.codes, sample_rate_hz=wave.sample_rate_hz, frequency_hz=hands.frequency_hz).noise_code
    moved = noise_code / typical.noise_code
    text += f"; with the source off the device's noise is ×{moved:.3g} of typical"
    with_gain, stayed = _near(moved, ratio), _near(moved, 1.0)
    if with_gain and not stayed:
        journal.note("self-check", f"{text}: noise moved with the gain, so the device is what changed")
        return True
    if stayed and not with_gain:
        first, *others = plan.factor_faults(ratio)
        raise StationFault(
            f"{text}, so the level at its input is wrong: check the source's load setting, terminators and cable, the "
            "unit of its level, pads and probe factor, then run again",
            fault=first,
            also=tuple(others),
        )
    return _undecided(plan, journal, ratio, channels, text)


def _near(ratio: float, other: float) -> bool:
    return ratio > 0.0 and abs(math.log(ratio / other)) < math.log(NOISE_WINDOW_RATIO)
