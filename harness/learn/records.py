"""Gains and words out of records: a CSV that somebody kept, captures by setting; no bench, no waveform."""

from __future__ import annotations

import csv
import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from harness.bus import BusDevice, BusWiring, LabelledCapture
from harness.config import SettingsFile
from harness.errors import CaptureError, LearnError, UsageError
from harness.learn.explain import Observed
from harness.learn.listen import Heard
from harness.learn.readings import OWN_RATIO, Gathered
from harness.learn.taken import taken
from harness.values import Capture, ControlWord, Setting

NEEDED = ("channel", "coarse", "fine", "gain")
KNOWN = (*NEEDED, "u_percent", "word")
MOST_LINES_OF_BUS = 8
STEM = re.compile(r"(\d+)-(\d+)-(\d+)")
STEM_ALLOWED = "allowed is CHANNEL-COARSE-FINE, such as 1-0-12.csv: rename it"


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """One line of the CSV."""

    setting: Setting
    gain_codes_per_v: float | None
    """None for an empty cell."""
    u_ratio: float
    words: tuple[str, ...]
    """0 and 1 as on the wire, one for each gain device of the channel; empty where the CSV has none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cell:
    """A cell and where it stands."""

    file: str
    line: int
    column: int
    name: str
    text: str

    def wrong(self, allowed: str) -> UsageError:
        where = f"{self.file}: line {self.line}, column {self.column} ({self.name})"
        return UsageError(f"{where}: got {self.text!r}; allowed is {allowed}: mend the cell, or take the line out")


def read_gains(text: str, *, settings: SettingsFile, file: str) -> tuple[Recorded, ...]:
    """The lines of a CSV of gains.

    Args:
        text: of the file: a head with channel, coarse, fine, gain and, where known, u_percent and word, in any order;
            lines that begin with # are left out. coarse and fine are names as in the settings file, or places from 0;
            gain is in codes a volt, u_percent its standard uncertainty, word 0 and 1 as on the wire, first one first,
            words of several gain devices apart by a space.
        settings: for channels and names.
        file: for messages.
    Returns:
        one entry a line.
    Raises:
        UsageError: there is no head or no line, a column is missing, unknown or there twice, a line is cut off, a cell
            is not what it should be, or a setting comes twice; with line and column, and what to do.
    Source:
        none: reading.
    """
    lines = [
        (number, _cells(line, file=file, number=number))
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.startswith("#")
    ]
    if len(lines) < 2:
        allowed = f"a head with {', '.join(NEEDED)} and a line a setting: export it again"
        raise UsageError(f"{file}: got {len(lines)} lines; allowed is {allowed}")
    head_line, head = lines[0][0], [name.strip() for name in lines[0][1]]
    _check_head(head, file=file, line=head_line)
    found: dict[Setting, Recorded] = {}
    for number, texts in lines[1:]:
        if len(texts) != len(head):
            raise UsageError(
                f"{file}: line {number}, column {len(texts)}: got {len(texts)} cells; allowed are {len(head)} as in "
                f"line {head_line}: the file may be cut off here; take the line out, or export it again"
            )
        cells = {
            name: _Cell(file=file, line=number, column=column, name=name, text=cell.strip())
            for column, (name, cell) in enumerate(zip(head, texts, strict=True), start=1)
        }
        one = _recorded(cells, settings)
        if one.setting in found:
            raise cells["fine"].wrong("each setting once")
        found[one.setting] = one
    return tuple(found.values())


def _cells(line: str, *, file: str, number: int) -> list[str]:
    try:
        return next(csv.reader([line]))
    except csv.Error as error:
        todo = "allowed is a line of a CSV: mend it, or take it out"
        raise UsageError(f"{file}: line {number}: {error}; {todo}") from error


def _check_head(head: Sequence[str], *, file: str, line: int) -> None:
    for column, name in enumerate(head, start=1):
        if name not in KNOWN or name in head[: column - 1]:
            allowed = f"allowed are {', '.join(KNOWN)}, each once: rename the column, or take it out"
            raise UsageError(f"{file}: line {line}, column {column}: got {name!r}; {allowed}")
    if missing := [name for name in NEEDED if name not in head]:
        raise UsageError(f"{file}: line {line}: no column {', '.join(missing)}; allowed are {', '.join(KNOWN)}: add it")


def _recorded(cells: Mapping[str, _Cell], settings: SettingsFile) -> Recorded:
    channels = tuple(str(channel) for channel in range(1, settings.channels + 1))
    setting = Setting(
        _place(cells["channel"], channels, first=1),
        _place(cells["coarse"], settings.range_names),
        _place(cells["fine"], settings.fine_names),
    )
    gain = _number(cells["gain"], "a number above 0, codes a volt, or nothing where none was measured")
    percent = _number(cells["u_percent"], "a number above 0, percent, or nothing") if "u_percent" in cells else None
    word = cells.get("word")
    if word is not None and re.fullmatch(r"([01]+( [01]+)*)?", word.text) is None:
        raise word.wrong("0 and 1 as on the wire, words of several gain devices apart by a space")
    return Recorded(
        setting=setting, gain_codes_per_v=gain, words=tuple(word.text.split()) if word is not None else (),
        u_ratio=OWN_RATIO if percent is None else percent / 100.0,
    )  # fmt: skip


def _place(cell: _Cell, names: Sequence[str], *, first: int = 0) -> int:
    """A name, or a place in the order of the names."""
    if cell.text in names:
        return names.index(cell.text) + first
    if cell.text.isascii() and cell.text.isdigit() and first <= int(cell.text) < len(names) + first:
        return int(cell.text)
    some = ", ".join(names[:3]) + (", ..." if len(names) > 3 else "")
    raise cell.wrong(f"{some}, or a place from {first} to {len(names) - 1 + first}")


def _number(cell: _Cell, allowed: str) -> float | None:
    if not cell.text:
        return None
    try:
        value = float(cell.text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0.0):
        raise cell.wrong(allowed)
    return value


def gather_records(recorded: Sequence[Recorded]) -> tuple[Gathered, BusWiring | None]:
    """What the CSV alone shows.

    Args:
        recorded: its lines.
    Returns:
        observations without any waveform; and a bus whose lines have made-up names where the lines have words, for a
        device file needs one. None without words, or where a bus of 8 lines cannot hold the latches.
    Source:
        none: bookkeeping.
    """
    form = Counter(tuple(map(len, one.words)) for one in recorded if one.words).most_common(1)
    with_words = bool(form)
    observed, unheard = [], []
    for one in recorded:
        if with_words and not one.words:
            unheard.append((one.setting, "no word in its line"))
            continue
        words = tuple(
            ControlWord(_latch(one.setting.channel, place), len(word), int(word, 2))
            for place, word in enumerate(one.words)
        )
        observed.append(_observed(one, words))
    wiring = _made_up(recorded, form[0][0]) if with_words else None
    return _gathered(observed, recorded, unheard), wiring


def _latch(channel: int, place: int) -> str:
    return f"word-{channel}" if place == 0 else f"word-{channel}-{place + 1}"


def _observed(one: Recorded, words: tuple[ControlWord, ...]) -> Observed:
    return Observed(setting=one.setting, words=words, gain_codes_per_v=one.gain_codes_per_v, u_ratio=one.u_ratio)


def _gathered(
    observed: Sequence[Observed], recorded: Sequence[Recorded], unheard: Sequence[tuple[Setting, str]]
) -> Gathered:
    unread = tuple((one.setting, "no gain in its line") for one in recorded if one.gain_codes_per_v is None)
    return Gathered(observed=tuple(observed), waves={}, unread=unread, unheard=tuple(unheard))


def _made_up(recorded: Sequence[Recorded], form: tuple[int, ...]) -> BusWiring | None:
    channels = sorted({one.setting.channel for one in recorded if one.words})
    devices = [(channel, place, bits) for channel in channels for place, bits in enumerate(form)]
    if len(devices) + 2 > MOST_LINES_OF_BUS:
        return None
    latches = tuple(_latch(channel, place) for channel, place, _ in devices)
    return BusWiring(
        lines=("data", "clock", *latches), data="data", clock="clock", clock_rising=True, latch_rising=True,
        minimum_pulse_ns=0.0,
        devices=tuple(BusDevice(latch=latch, bits=bits) for latch, (_, _, bits) in zip(latches, devices, strict=True)),
    )  # fmt: skip


def setting_of_stem(stem: str, *, settings: SettingsFile, file: str) -> Setting:
    """The setting that a capture's file name stands for.

    Args:
        stem: CHANNEL-COARSE-FINE, channel from 1, places from 0.
        settings: how many there are.
        file: for messages.
    Returns:
        the setting.
    Raises:
        UsageError: the name is another one, or no such setting exists.
    Source:
        none: naming.
    """
    match = STEM.fullmatch(stem)
    if match is None:
        raise UsageError(f"{file}: got {stem!r}; {STEM_ALLOWED}")
    channel, coarse, fine = (int(text) for text in match.groups())
    ranges, positions = len(settings.range_names), len(settings.fine_names)
    if not (1 <= channel <= settings.channels and coarse < ranges and fine < positions):
        most = f"{settings.channels}-{ranges - 1}-{positions - 1}"
        raise UsageError(f"{file}: no such setting; allowed is 1-0-0 to {most}: rename it, or mend the settings file")
    return Setting(channel, coarse, fine)


def labelled(captures: Mapping[Setting, Capture]) -> Iterator[LabelledCapture]:
    """Captures with what was moved in them: of each channel, the range with most captures gives an order.

    Args:
        captures: by setting.
    Yields:
        each with its channel; with a rank inside that range.
    Source:
        none: bookkeeping.
    """
    counts = Counter((setting.channel, setting.coarse) for setting in captures)
    for setting, capture in sorted(captures.items(), key=lambda entry: entry[0]):
        most = max(count for (channel, _), count in counts.items() if channel == setting.channel)
        first = min(coarse for (channel, coarse), n in counts.items() if channel == setting.channel and n == most)
        rank = float(setting.fine) if setting.coarse == first else None
        yield LabelledCapture(capture=capture, channel=setting.channel, rank=rank)


def gather_captures(recorded: Sequence[Recorded], captures: Mapping[Setting, Capture], heard: Heard) -> Gathered:
    """Gains of the CSV with words of the captures.

    Args:
        recorded: lines of the CSV; words in it are not looked at.
        captures: by setting.
        heard: what the captures said of lines and latches.
    Returns:
        observations; a setting without a capture, or without a whole word in it, is listed.
    Raises:
        LearnError: the captures do not tell the roles of the lines; the message has what is missing.
    Source:
        none: bookkeeping.
    """
    if heard.wiring is None:
        todo = "leave --captures out to go on with gains alone"
        raise LearnError(f"learn: the captures do not tell the lines apart: {'; '.join(heard.troubles)}; or {todo}")
    observed, unheard = [], []
    for one in recorded:
        words, why = _words(captures.get(one.setting), heard.wiring, heard.latches.get(one.setting.channel, ()))
        if why:
            unheard.append((one.setting, why))
        else:
            observed.append(_observed(one, words))
    return _gathered(observed, recorded, unheard)


def _words(
    capture: Capture | None, wiring: BusWiring, latches: tuple[str, ...]
) -> tuple[tuple[ControlWord, ...], str]:
    """The last word under each latch, or why not."""
    if capture is None:
        return (), "no capture of it"
    if not latches:
        return (), "no word follows its channel"
    try:
        last = dict(taken(capture, wiring))
    except CaptureError as error:
        return (), str(error)
    held = {latch: word for latch, word in last.items() if word is not None}
    missing = [latch for latch in latches if latch not in held]
    if missing:
        return (), f"no whole word under {', '.join(missing)}"
    return tuple(held[latch] for latch in latches), ""
