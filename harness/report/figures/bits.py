"""Commanded against captured words: which bits differ, one row a bit, one column a setting."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass

from harness.report.figures.places import Places, places_of
from harness.report.labels import range_name
from harness.report.words import plain
from harness.values import RunResult, SettingResult

COLUMN, ROW, LEFT, TOP, BOTTOM = 4, 12, 62, 20, 18
NAMED = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Differing:
    """A captured word that is not the commanded one."""

    place: int
    label: str
    expected: int
    captured: int | None
    """None where the device latched nothing that can be read as its word."""


def differing(rows: Sequence[SettingResult], places: Places) -> list[Differing]:
    """Which settings of a channel captured another word than the one commanded.

    Args:
        rows: of one channel.
        places: the horizontal axis.
    Returns:
        those whose only word under the expected latch differs, or that captured none of its own among others.
    """
    found = []
    for row in rows:
        # A note, such as of a second latch, may stand behind the word: its bits are no others for that.
        named = (text.split(" ", 1)[0] for text in row.captured_words)
        own = {text for text in named if text.startswith(f"{row.expected_word.latch}:")}
        if not row.captured_words or own == {str(row.expected_word)}:
            continue
        captured = int(own.pop().rpartition(":")[2], 16) if len(own) == 1 else None
        found.append(
            Differing(
                place=places.of(row.setting), label=row.label, expected=row.expected_word.value, captured=captured
            )
        )
    return found


def bits_svg(result: RunResult) -> str:
    """The bits that differ, one panel a channel that has any.

    Args:
        result: of a run.
    Returns:
        an `svg` element; empty when every captured word is the commanded one, or none was captured.
    """
    places = places_of(result)
    if not places.ranges:
        return ""
    panels = []
    for channel in places.channels:
        rows = [row for row in result.settings if row.setting.channel == channel]
        found = differing(rows, places)
        if found:
            panels.append((channel, max(row.expected_word.bits for row in rows), found))
    if not panels:
        return ""
    width = LEFT + COLUMN * (places.ranges[-1][2] + 2)
    parts, top = [], TOP
    for channel, bits, found in panels:
        parts.append(_panel(channel, bits, found, top, places, result))
        top += bits * ROW + TOP + BOTTOM
    label = "Bits of captured words that differ from the commanded ones, one panel a channel"
    return (
        f'<svg viewBox="0 0 {width} {top - TOP}" role="img" aria-label="{label}" font-size="10" fill="#22282c">'
        f"{''.join(parts)}</svg>"
    )


def _panel(channel: int, bits: int, found: Sequence[Differing], top: int, places: Places, result: RunResult) -> str:
    parts = [f'<text x="4" y="{top - 6}" font-weight="600">ch{channel}</text>']
    for bit in range(bits):
        y = top + (bits - 1 - bit) * ROW
        parts.append(f'<text x="{LEFT - 6}" y="{y + 9}" text-anchor="end">bit {bit}</text>')
    for number, (_, first, last) in enumerate(places.ranges):
        fill = "#f3f3f0" if number % 2 else "#fbfbf9"
        width = COLUMN * (last - first + 1)
        left = LEFT + COLUMN * first
        parts.append(f'<rect x="{left}" y="{top}" width="{width}" height="{bits * ROW}" fill="{fill}"/>')
    for one in found:
        x = LEFT + COLUMN * one.place
        if one.captured is None:
            title = html.escape(plain(f"{one.label}: no single word of its own was latched"))
            shape = f'<rect x="{x}" y="{top}" width="{COLUMN - 1}" height="{bits * ROW}" fill="#a9b1b6"/>'
        else:
            title = html.escape(plain(f"{one.label}: {one.captured:X} captured, {one.expected:X} commanded"))
            wrong = [bit for bit in range(bits) if (one.captured ^ one.expected) >> bit & 1]
            shape = "".join(
                f'<rect x="{x}" y="{top + (bits - 1 - bit) * ROW + 1}" width="{COLUMN - 1}" height="{ROW - 2}" '
                f'fill="{"#a3341f" if one.expected >> bit & 1 else "#16406f"}"/>'
                for bit in wrong
            )
        parts.append(f"<g><title>{title}</title>{shape}</g>")
    every = -(-len(places.ranges) // NAMED)
    for coarse, first, last in places.ranges[::every]:
        x_text = LEFT + COLUMN * (first + last + 1) / 2
        name = html.escape(plain(range_name(coarse, result)))
        parts.append(f'<text x="{x_text:.0f}" y="{top + bits * ROW + 12}" text-anchor="middle">{name}</text>')
    return "".join(parts)
