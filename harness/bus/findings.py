"""What a person should know about a capture: what is not sound, and what cannot be told."""

from __future__ import annotations

import enum
from dataclasses import dataclass

from harness.bus.wiring import BusWiring
from harness.values import BusTiming, Decoding, LatchedWord, LineLevels

LEAST_SAMPLES = 4
"""Samples a clock half period below which edges may be missed."""
QUIET_FRAMES = 10
"""A pause of so many frames after the last clock: the word was never latched, not cut off."""


class Weight(enum.StrEnum):
    """Whether a finding spoils the capture."""

    NOTE = "note"
    UNSOUND = "unsound"


@dataclass(frozen=True, slots=True, kw_only=True)
class BusFinding:
    """One thing to know."""

    name: str
    weight: Weight
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureFacts:
    """What the words and the timing do not show."""

    sample_ns: float | None = None
    """Distance of samples; None for an edge list, whose times are exact."""
    dropped: int = 0
    quiet_ns: float = 0.0
    """Time from the last clock edge to the end of the capture."""
    first: LatchedWord | None = None
    note_counts: tuple[tuple[str, int], ...] = ()
    """Frames by note, other than sound ones."""
    marginal_words: int = 0
    """Words that differ between a decoding at V_IL and one at V_IH."""
    marginal_lines: tuple[str, ...] = ()
    """Lines whose number of edges differs between the two."""
    levels: tuple[LineLevels, ...] = ()


def findings(decoding: Decoding, timing: BusTiming, bus: BusWiring, facts: CaptureFacts) -> tuple[BusFinding, ...]:
    """What is to be said about a decoded capture.

    Args:
        decoding: its counts; the words are not looked at.
        timing: its distances.
        bus: which line is what.
        facts: the rest.
    Returns:
        findings, the ones that spoil the capture first.
    Source:
        common practice for three-wire buses.
    """
    found = [*_ends(decoding, timing, bus, facts), *_frames(decoding, bus, facts), *_sampling(timing, facts)]
    found += [*_distances(timing), *_levels(facts), *_traffic(decoding, timing, bus)]
    return tuple(sorted(found, key=lambda finding: finding.weight is not Weight.UNSOUND))


def _unsound(name: str, text: str) -> BusFinding:
    return BusFinding(name=name, weight=Weight.UNSOUND, text=text)


def _note(name: str, text: str) -> BusFinding:
    return BusFinding(name=name, weight=Weight.NOTE, text=text)


def _ends(decoding: Decoding, timing: BusTiming, bus: BusWiring, facts: CaptureFacts) -> list[BusFinding]:
    found = []
    if facts.dropped:
        found.append(_unsound("dropped", f"the adapter dropped {facts.dropped} events: words may be missing"))
    if decoding.clock_edges == 0:
        found.append(_unsound("no-clock", f"no active edge on {bus.clock}: no bits; look at its threshold"))
    if facts.first is None:
        found.append(_unsound("no-latch", f"no active edge on {', '.join(bus.latches)}: no device took a word"))
    elif 0 < facts.first.clocks_since < _frame_bits(facts.first, bus):
        found.append(
            _unsound(
                "starts-inside-frame",
                f"the capture starts inside a frame: {facts.first.clocks_since} clocks before the first latch at "
                f"{facts.first.time_ns} ns, {_frame_bits(facts.first, bus)} make a word",
            )
        )
    if decoding.unlatched_bits:
        period_ns = 1e9 / timing.clock_hz if timing.clock_hz else 0.0
        longest = max(sum(bus.chain(latch)) for latch in bus.latches)
        over = 0 < period_ns * longest * QUIET_FRAMES < facts.quiet_ns
        said = "and no latch followed: the word was never taken" if over else "and no latch: it ends inside a frame"
        name = "never-latched" if over else "ends-inside-frame"
        found.append(_unsound(name, f"the capture ends with {decoding.unlatched_bits} clocks {said}"))
    return found


def _frame_bits(word: LatchedWord, bus: BusWiring) -> int:
    return min(sum(bus.chain(latch)) for latch in word.latches)


def _frames(decoding: Decoding, bus: BusWiring, facts: CaptureFacts) -> list[BusFinding]:
    texts = {
        "short-frame": "with fewer clocks than the word has bits: no word",
        "long-frame": "with more clocks than the word has bits: the last bits were taken",
        "re-latch": "without a clock since the latch before: the word before was taken again",
        "unknown-level": "with data at an unknown level: no word",
        "broadcast": "at which several latches fired together",
    }
    found = []
    for note, count in facts.note_counts:
        if note == "unknown-history":
            found.append(_note(note, "the first frame may hold clocks from before the capture"))
        elif note == "broadcast" and bus.broadcast_allowed:
            found.append(_note(note, f"{count} frames {texts[note]}, as the wiring allows"))
        else:
            found.append(_unsound(note, f"{count} frames {texts[note]}"))
    if decoding.clocks_under_latch:
        count = decoding.clocks_under_latch
        text = f"{count} clock edges while a latch was active: an error where it is transparent"
        found.append(_unsound("clocks-under-latch", text))
    return found


def _sampling(timing: BusTiming, facts: CaptureFacts) -> list[BusFinding]:
    if facts.sample_ns is None:
        return []
    found = []
    halves = [timing.distance(name).minimum_ns for name in ("clock-high", "clock-low")]
    shortest_ns = min((half for half in halves if half is not None), default=None)
    if shortest_ns is not None and shortest_ns < (LEAST_SAMPLES - 0.5) * facts.sample_ns:
        found.append(
            _unsound(
                "undersampled",
                f"the shortest clock half period is {shortest_ns / facts.sample_ns:.0f} samples; {LEAST_SAMPLES} are "
                f"needed to miss no edge: sample faster than {LEAST_SAMPLES * 1e9 / shortest_ns:.3g} Hz",
            )
        )
    setup_ns = timing.distance("setup").minimum_ns
    if setup_ns is not None and setup_ns < 5 * facts.sample_ns:
        found.append(
            _note("coarse-timing", f"the smallest setup is {setup_ns / facts.sample_ns:.0f} samples of "
                  f"{facts.sample_ns:g} ns: good for words, too coarse for timing, which needs 5")
        )  # fmt: skip
    return found


def _distances(timing: BusTiming) -> list[BusFinding]:
    found = []
    for distance in timing.distances:
        if distance.violations:
            found.append(
                _unsound(
                    f"{distance.name}-violated",
                    f"{distance.name}: {distance.violations} of {distance.count} below the limit of "
                    f"{distance.limit_ns:g} ns; the smallest is {distance.minimum_ns:g} ns, at "
                    f"{distance.minimum_at_ns} ns",
                )
            )
    if timing.clock_violations:
        found.append(
            _unsound("clock-rate-violated", f"clock: {timing.clock_violations} periods faster than the limit of "
                     f"{timing.clock_limit_hz:g} Hz; the fastest is {timing.clock_hz:g} Hz")
        )  # fmt: skip
    for name in ("setup", "hold"):
        if timing.distance(name).minimum_ns == 0.0 and not timing.distance(name).violations:
            at_ns = timing.distance(name).minimum_at_ns
            text = f"data changes at the very clock edge, at {at_ns} ns: the bit read is marginal"
            found.append(_unsound(f"{name}-zero", text))
            break
    return found


def _levels(facts: CaptureFacts) -> list[BusFinding]:
    found = []
    if facts.marginal_words or facts.marginal_lines:
        lines = ", ".join(facts.marginal_lines) or "none in its number of edges"
        found.append(
            _unsound("marginal-levels", f"decoding at V_IL and at V_IH differs: {facts.marginal_words} words; lines: "
                     f"{lines}: the levels are marginal")
        )  # fmt: skip
    for line in facts.levels:
        low = line.most_low_v is not None and line.most_low_v > line.v_il_v
        high = line.least_high_v is not None and line.least_high_v < line.v_ih_v
        if low or high:
            band = f"V_IL {line.v_il_v:.3g} V and V_IH {line.v_ih_v:.3g} V"
            found.append(_unsound("weak-level", f"{line.line}: rests between {band}"))
    if any(line.automatic for line in facts.levels):
        found.append(_note("auto-thresholds", "thresholds were taken from the capture itself, not from a logic family"))
    return found


def _traffic(decoding: Decoding, timing: BusTiming, bus: BusWiring) -> list[BusFinding]:
    found = []
    for line, count in timing.glitches:
        if count:
            found.append(
                (_note if line == bus.data else _unsound)(
                    "glitches", f"{line}: {count} pulses shorter than {bus.minimum_pulse_ns:g} ns were taken out"
                )
            )
    if decoding.idle_data_edges:
        count = decoding.idle_data_edges
        found.append(_note("idle-data", f"{count} data edges that no clock edge sampled: they do not count"))
    if decoding.rewrites:
        found.append(_note("rewrites", f"{decoding.rewrites} words equal to the one that the device had already"))
    return found
