"""Which bit is set at which setting: one row a bit, one column a setting."""

from __future__ import annotations

import html
import itertools
from collections.abc import Sequence

from harness.report.words import plain
from harness.values import LearnedBit, LearnedDevice, LearnedSetting

WIDTH, LEFT, TOP, BOTTOM, ROW = 1056, 210, 10, 20, 15
WIDEST = 12.0
MOST_TITLED = 1500
MOST_NAMED = 11
NUMBER, SINGLE, STILL = "#2f5d8a", "#96601f", "#8b9398"


def rasters(device: LearnedDevice) -> tuple[tuple[str, str], ...]:
    """One raster for each group of channels that hold the same words.

    Args:
        device: the story.
    Returns:
        which channels, and an `svg` element; empty without words.
    """
    if not device.bits:
        return ()
    groups: dict[tuple[tuple[int, int, str], ...], list[int]] = {}
    for channel in sorted({row.setting.channel for row in device.settings}):
        own = [row for row in device.settings if row.setting.channel == channel]
        mine = tuple((row.setting.coarse, row.setting.fine, row.bits) for row in own)
        groups.setdefault(mine, []).append(channel)
    found = []
    for channels in groups.values():
        rows = [row for row in device.settings if row.setting.channel == channels[0]]
        names = ", ".join(f"ch{channel}" for channel in channels)
        found.append((names, _raster(rows, device, names)))
    return tuple(found)


def _raster(rows: Sequence[LearnedSetting], device: LearnedDevice, names: str) -> str:
    column = min(WIDEST, (WIDTH - LEFT - 10) / len(rows))
    bottom = TOP + ROW * len(device.bits)
    label = html.escape(plain(f"Bits of the word by setting, {names}"))
    box = f"0 0 {WIDTH} {bottom + BOTTOM}"
    parts = [f'<svg viewBox="{box}" role="img" aria-label="{label}" font-size="11" fill="#22282c">']
    spans = [(coarse, list(group)) for coarse, group in itertools.groupby(
        range(len(rows)), key=lambda index: rows[index].setting.coarse)]  # fmt: skip
    every = -(-len(spans) // MOST_NAMED)
    for number, (coarse, places) in enumerate(spans):
        x, width = LEFT + column * places[0], column * len(places)
        fill = "#f3f3f0" if number % 2 else "#fbfbf9"
        parts.append(f'<rect x="{x:.1f}" y="{TOP}" width="{width:.1f}" height="{bottom - TOP}" fill="{fill}"/>')
        if number % every == 0:
            name = html.escape(plain(device.ranges[coarse]))
            parts.append(f'<text x="{x + width / 2:.1f}" y="{bottom + 14}" text-anchor="middle">{name}</text>')
    for bit in device.bits:
        parts.append(_bit_row(bit, rows, TOP + ROW * bit.place, column))
    if len(rows) <= MOST_TITLED:
        parts.append('<g fill="transparent">')
        for index, row in enumerate(rows):
            title = html.escape(plain(f"{row.label}: word {row.word}, {row.bits}"))
            x = LEFT + column * index
            place = f'x="{x:.1f}" y="{TOP}" width="{column:.2f}" height="{bottom - TOP}"'
            parts.append(f"<rect {place}><title>{title}</title></rect>")
        parts.append("</g>")
    return "".join(parts) + "</svg>"


def _bit_row(bit: LearnedBit, rows: Sequence[LearnedSetting], y: int, column: float) -> str:
    """Neighbouring settings with the bit set are one bar."""
    colour = STILL if bit.moves == "never" else NUMBER if bit.meaning.startswith("number") else SINGLE
    name = html.escape(plain(f"bit {bit.place}: {bit.meaning}"))
    parts = [f'<text x="{LEFT - 8}" y="{y + 11}" text-anchor="end">{name}</text>']
    path = ""
    for is_set, group in itertools.groupby(range(len(rows)), key=lambda index: rows[index].bits[bit.place] == "1"):
        members = list(group)
        if is_set:
            path += f"M{LEFT + column * members[0]:.1f} {y + 2}h{column * len(members):.1f}v{ROW - 4}H"
            path += f"{LEFT + column * members[0]:.1f}z"
    return parts[0] + (f'<path d="{path}" fill="{colour}"/>' if path else "")
