"""A CSV of gains that somebody kept, line by line."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from harness.config import SettingsFile
from harness.errors import UsageError
from harness.learn.readings import OWN_RATIO
from harness.values import Setting

NEEDED = ("channel", "coarse", "fine", "gain")
IN_VOLTS = ("input_vpk", "record")
"""In the place of gain, both: a level, and the file of a record in scaled volts."""
KNOWN = (*NEEDED, "u_percent", "word", *IN_VOLTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """One line of the CSV."""

    setting: Setting
    gain_codes_per_v: float | None
    """None for an empty cell."""
    u_ratio: float
    words: tuple[str, ...]
    """0 and 1 as on the wire, one for each gain device of the channel; empty where the CSV has none."""
    record: str = ""
    """File of a record in scaled volts, as the CSV names it; empty where the line has none."""
    input_vpk: float = 0.0
    """Level at the device's input for that record, V peak."""


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
            words of several gain devices apart by a space. In the place of gain: input_vpk, V peak at the device's
            input, and record, the file of a record in scaled volts.
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
    if volts := [name for name in IN_VOLTS if name in head]:
        beside = [name for name in ("gain", "u_percent") if name in head]
        if len(volts) < len(IN_VOLTS) or beside:
            got = ", ".join([*volts, *beside])
            allowed = "allowed are input_vpk and record, both, in the place of gain and u_percent: mend the head"
            raise UsageError(f"{file}: line {line}: got columns {got}; {allowed}")
    if missing := [name for name in NEEDED if name not in head and not (name == "gain" and volts)]:
        raise UsageError(f"{file}: line {line}: no column {', '.join(missing)}; allowed are {', '.join(KNOWN)}: add it")


def _recorded(cells: Mapping[str, _Cell], settings: SettingsFile) -> Recorded:
    channels = tuple(str(channel) for channel in range(1, settings.channels + 1))
    setting = Setting(
        _place(cells["channel"], channels, first=1),
        _place(cells["coarse"], settings.range_names),
        _place(cells["fine"], settings.fine_names),
    )
    allowed = "a number above 0, codes a volt, or nothing where none was measured"
    gain = _number(cells["gain"], allowed) if "gain" in cells else None
    record = cells["record"].text if "record" in cells else ""
    input_vpk = _number(cells["input_vpk"], "a number above 0, V peak at the device's input") if record else None
    if record and input_vpk is None:
        raise cells["input_vpk"].wrong("a number above 0, V peak at the device's input, where there is a record")
    percent = _number(cells["u_percent"], "a number above 0, percent, or nothing") if "u_percent" in cells else None
    word = cells.get("word")
    if word is not None and re.fullmatch(r"([01]+( [01]+)*)?", word.text) is None:
        raise word.wrong("0 and 1 as on the wire, words of several gain devices apart by a space")
    return Recorded(
        setting=setting, gain_codes_per_v=gain, words=tuple(word.text.split()) if word is not None else (),
        u_ratio=OWN_RATIO if percent is None else percent / 100.0, record=record, input_vpk=input_vpk or 0.0,
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
