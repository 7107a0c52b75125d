"""Whose latch is whose, and which end of the word comes first: from words that should move, or move steadily."""

from __future__ import annotations

import itertools

from harness.bus.wiring import BusWiring
from harness.values import Decoding

Labelled = tuple[int | None, float | None, Decoding]
Answer = tuple[str, float, str]

LEAST_RANKS = 3
CLEARLY = 1.5
"""How much longer the way of the wrong bit order must be."""


def channel_latches(decoded: list[Labelled]) -> list[tuple[int, str, float, str]]:
    """Which latch belongs to each channel that was moved alone.

    Args:
        decoded: channel moved or None, rank or None, and the decoding of each capture.
    Returns:
        channel, latch (empty for "cannot tell"), share of captures that agree, evidence.
    Source:
        common practice: the word of the moved channel changes, all others are written again unchanged.
    """
    answers = []
    for channel in sorted({channel for channel, _, _ in decoded if channel is not None}):
        mine = [decoding for moved, _, decoding in decoded if moved == channel]
        words: dict[str, list[int]] = {}
        for decoding in mine:
            for word in decoding.words:
                if word.value is not None:
                    for latch in word.latches:
                        words.setdefault(latch, []).append(word.value)
        moving = {latch: len(set(values)) for latch, values in words.items() if len(set(values)) > 1}
        if len(moving) != 1:
            several = ", ".join(moving) or "none"
            answers.append(
                (channel, "", 0.0, f"cannot tell: words that change while channel {channel} is moved: {several}")
            )
            continue
        latch, distinct = next(iter(moving.items()))
        present = sum(1 for decoding in mine if decoding.last(latch) is not None)
        text = f"only the word of {latch} changes while channel {channel} moves: {distinct} words, {present} captures"
        answers.append((channel, latch, present / len(mine), text))
    return answers


def first_bit(decoded: list[Labelled], wiring: BusWiring) -> Answer:
    """Which end of the word comes first on the wire.

    Args:
        decoded: as for `channel_latches`, with ranks.
        wiring: word lengths.
    Returns:
        most-significant, least-significant or empty, how clearly (1 minus the ratio of the two ways), and the evidence.
    Source:
        words of settings in order go up or down steadily when read the right way: the sum of their steps is their span;
        read the wrong way they jump.
    """
    forward = backward = 0.0
    steps = 0
    for channel in {channel for channel, _, _ in decoded}:
        for device in wiring.devices:
            ranked = sorted(
                ((rank, word.value) for moved, rank, decoding in decoded if moved == channel and rank is not None
                 for word in [decoding.last(device.latch)] if word is not None and word.value is not None),
                key=lambda entry: entry[0],
            )  # fmt: skip
            values = [value for _, value in ranked]
            if len(set(values)) < LEAST_RANKS:
                continue
            turned = [int(f"{value:0{device.bits}b}"[::-1], 2) for value in values]
            forward += _way(values)
            backward += _way(turned)
            steps += len(values) - 1
    if steps == 0:
        return "", 0.0, f"cannot tell: no latch with {LEAST_RANKS} different words in captures with ranks"
    text = (
        f"over {steps} steps the words go {forward:.2f} spans, first bit highest, or {backward:.2f}, first bit lowest"
    )
    if max(forward, backward) < CLEARLY * min(forward, backward):
        return "", 0.0, f"cannot tell: {text}"
    name = "most-significant" if forward < backward else "least-significant"
    return name, 1.0 - min(forward, backward) / max(forward, backward), text


def _way(values: list[int]) -> float:
    span = max(values) - min(values)
    return sum(abs(b - a) for a, b in itertools.pairwise(values)) / span if span else 0.0
