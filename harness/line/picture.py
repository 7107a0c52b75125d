"""The picture of the connection, drawn from the bench file: source, pad, inputs of the unit, adapter, meter. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

from harness.app.setup import Setup
from harness.line.words import Words

WIDTH, HEIGHT = 900, 400
INK, PAPER, SIGNAL, BUS, QUIET = "#22303c", "#fffdf8", "#b4530a", "#1f5f8b", "#8a9299"


@dataclass(frozen=True, slots=True, kw_only=True)
class Connection:
    """What is connected with what."""

    source: str
    device: str
    inputs: tuple[int, ...]
    """Channels that the source drives, from 1."""
    pad_db: float
    adapter: str
    """Empty without one."""
    meter: str
    """Empty without one."""


def connection_of(setup: Setup) -> Connection:
    """What a bench file and a job say of the connection."""
    names = {role: profile.name for role, profile in setup.bench.profiles.items()}
    channels = tuple(sorted({rung.setting.channel for rung in setup.rungs}))
    return Connection(
        source=names["source"], device=names["device"], inputs=channels, pad_db=setup.bench.file.wiring.pad_db,
        adapter=names.get("adapter", ""), meter=names.get("meter", ""),
    )  # fmt: skip


def draw(connection: Connection, words: Words) -> str:
    """An SVG picture, with text for whoever cannot see it."""
    parts = (*_source(connection, words), *_unit(connection, words), *_cables(connection, words))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'font-family="sans-serif" fill="{INK}"><title>{escape(words.say("picture.alt"))}</title>{"".join(parts)}</svg>'
    )


_UNIT_X, _UNIT_W = 560, 310
_TOP, _BOTTOM = 30, 250
_SOURCE_W, _OUT_X, _BUS_X = 250, 280, 420
_SIGNAL_Y = 110


def _box(x: int, y: int, width: int, height: int, colour: str) -> str:
    return (
        f'<rect x="{x}" y="{y}" width="{width}" height="{height}" rx="10" fill="{PAPER}" stroke="{colour}" '
        'stroke-width="5"/>'
    )


def _text(
    x: int, y: int, size: int, text: str, *, anchor: str = "middle", colour: str = INK, bold: bool = False
) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x}" y="{y}" font-size="{size}" text-anchor="{anchor}" fill="{colour}"{weight}>{escape(text)}</text>'
    )


def _line(points: str, colour: str, *, dashed: bool = False) -> str:
    dash = ' stroke-dasharray="12 9"' if dashed else ""
    return (
        f'<polyline points="{points}" fill="none" stroke="{colour}" stroke-width="7" stroke-linejoin="round" '
        f'stroke-linecap="round"{dash}/>'
    )


def _plug(x: int, y: int, colour: str) -> str:
    return f'<circle cx="{x}" cy="{y}" r="13" fill="{PAPER}" stroke="{colour}" stroke-width="6"/>'


def _source(connection: Connection, words: Words) -> Iterator[str]:
    yield _box(30, _TOP, _SOURCE_W, 150, INK)
    middle = 30 + _SOURCE_W // 2
    yield _text(middle, _TOP + 42, 28, words.say("picture.source"), bold=True)
    yield _text(middle, _TOP + 74, 21, connection.source)
    yield f'<rect x="{middle - 52}" y="{_TOP + 92}" width="104" height="42" rx="6" fill="{INK}"/>'
    yield _text(middle, _TOP + 122, 26, words.say("picture.off"), colour=PAPER, bold=True)
    if connection.meter:
        yield _box(30, 215, _SOURCE_W, 62, QUIET)
        yield _text(middle, 254, 21, f"{words.say('picture.meter')}: {connection.meter}")
    if connection.adapter:
        yield _box(30, 300, _SOURCE_W, 78, BUS)
        yield _text(middle, 332, 24, words.say("picture.adapter"), bold=True)
        yield _text(middle, 360, 20, connection.adapter)


def _unit(connection: Connection, words: Words) -> Iterator[str]:
    yield _box(_UNIT_X, _TOP, _UNIT_W, HEIGHT - 2 * _TOP + 8, INK)
    middle = _UNIT_X + _UNIT_W // 2 + 40
    yield _text(middle, _TOP + 42, 28, words.say("picture.unit"), bold=True)
    yield _text(middle, _TOP + 74, 21, connection.device)


def _cables(connection: Connection, words: Words) -> Iterator[str]:
    count = len(connection.inputs)
    step = min(52, 150 // max(count, 1))
    size = max(10, min(22, step - 2))
    heights = [_SIGNAL_Y + step * index for index in range(count)]
    for height in heights:
        yield _line(f"{_OUT_X},{_SIGNAL_Y} {_BUS_X},{_SIGNAL_Y} {_BUS_X},{height} {_UNIT_X},{height}", SIGNAL)
    if connection.meter:
        yield _line(f"310,{_SIGNAL_Y} 310,246 {_OUT_X},246", QUIET)
    yield _plug(_OUT_X, _SIGNAL_Y, SIGNAL)
    for number, height in zip(connection.inputs, heights, strict=True):
        yield _plug(_UNIT_X, height, SIGNAL) if step > 30 else ""
        yield _text(_UNIT_X + 24, height + size // 3, size, words.say("picture.input", number=number), anchor="start")
    if connection.pad_db > 0.0:
        yield _box(325, _SIGNAL_Y - 26, 84, 52, SIGNAL)
        yield _text(367, _SIGNAL_Y - 38, 18, words.say("picture.pad", pad=f"{connection.pad_db:g}"))
    if connection.adapter:
        yield _line(f"{_OUT_X},339 {_UNIT_X},339", BUS, dashed=True)
        yield _plug(_OUT_X, 339, BUS)
        yield _plug(_UNIT_X, 339, BUS)
        yield _text(_BUS_X, 328, 20, words.say("picture.bus"), colour=BUS)
