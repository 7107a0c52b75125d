"""Words as they come: to a CSV file, to a spool for JSON, the first ones to the screen."""

from __future__ import annotations

import dataclasses
import json
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from harness.bus import Roles, WordTable
from harness.bus.capture_run import Decoded
from harness.errors import ReportError
from harness.values import BusDistance, LatchedWord

HEAD = "time_ns,latches,position,bits,word,clocks_since,note"
SHOWN = 40


class WordSink:
    """Takes tables of words; keeps a few in memory and the rest in files."""

    def __init__(self, csv_path: Path | None, *, spool: bool) -> None:
        self.first: list[LatchedWord] = []
        self.count = 0
        self._path = csv_path
        self._beside = csv_path.with_name(f".{csv_path.name}.{os.getpid()}") if csv_path else None
        self._csv: IO[str] | None = None
        self._spool: IO[str] | None = None
        try:
            if self._beside:
                self._csv = self._beside.open("w", encoding="utf-8", newline="")
                self._csv.write(HEAD + "\n")
            if spool:
                self._spool = tempfile.TemporaryFile("w+", encoding="utf-8")  # noqa: SIM115 - lives as long as the sink
        except OSError as error:
            raise self._trouble(error) from error

    def take(self, table: WordTable) -> None:
        """Some more words."""
        self.count += len(table)
        if not (self._csv or self._spool) and len(self.first) >= SHOWN:
            return
        try:
            for word in table.words():
                if len(self.first) < SHOWN:
                    self.first.append(word)
                if self._csv:
                    self._csv.write(csv_row(word) + "\n")
                if self._spool:
                    self._spool.write(json.dumps(word_json(word)) + "\n")
        except OSError as error:
            raise self._trouble(error) from error

    def finish(self) -> None:
        """The CSV file gets its name: it is whole, or it is not there."""
        if self._csv and self._beside and self._path:
            try:
                self._csv.close()
                os.replace(self._beside, self._path)
            except OSError as error:
                raise self._trouble(error) from error
            self._csv = None

    def spooled(self) -> Iterator[str]:
        """Words as lines of JSON, from the first one."""
        if self._spool:
            self._spool.seek(0)
            yield from self._spool

    def close(self) -> None:
        """Nothing is left behind."""
        if self._csv:
            self._csv.close()
        if self._spool:
            self._spool.close()
        if self._beside:
            self._beside.unlink(missing_ok=True)

    def _trouble(self, error: OSError) -> ReportError:
        return ReportError(f"{self._path or 'temporary file'}: cannot be written: {error.strerror}; name another file")


def word_text(word: LatchedWord) -> str:
    """The word in hexadecimal, or - where it is not known."""
    return "-" if word.value is None else f"0x{word.value:0{-(-word.bits // 4)}x}"


def csv_row(word: LatchedWord) -> str:
    """One row of the CSV file."""
    value = "" if word.value is None else word_text(word)
    latches = "+".join(word.latches).replace(",", ";")
    return f"{word.time_ns},{latches},{word.position},{word.bits},{value},{word.clocks_since},{word.note}"


def word_json(word: LatchedWord) -> dict[str, Any]:
    """One word for JSON; the value as a number and as text, since numbers above 2**53 suffer in some readers."""
    return dataclasses.asdict(word) | {"word": None if word.value is None else word_text(word)}


def decoded_json(decoded: Decoded, *, capture: str, wiring: str) -> dict[str, Any]:
    """All but the words."""
    decoding, timing = decoded.decoding, decoded.timing
    names = [field.name for field in dataclasses.fields(decoding) if field.name != "words"]
    return {
        "capture": capture,
        "wiring": wiring,
        "exit_code": int(decoded.exit_code),
        "error": decoded.error,
        "findings": [dataclasses.asdict(finding) for finding in decoded.findings],
        "word_count": decoded.word_count,
        "counts": {name: getattr(decoding, name) for name in names},
        "timing": dataclasses.asdict(timing)
        | {
            "distances": [dataclasses.asdict(d) | {"margin_ns": d.margin_ns} for d in timing.distances],
            "glitches": dict(timing.glitches),
            "edges": dict(timing.edges),
        },
        "levels": [dataclasses.asdict(line) for line in decoded.levels],
    }


def json_pieces(content: dict[str, Any], sink: WordSink) -> Iterator[str]:
    """The one JSON object, piece by piece: there may be more words than fit into memory."""
    text = json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False)
    yield text[: text.rindex("}")].rstrip() + ',\n  "words": ['
    separator = "\n    "
    for line in sink.spooled():
        yield separator + line.rstrip("\n")
        separator = ",\n    "
    yield "\n  ]\n}\n"


def roles_json(roles: Roles) -> dict[str, Any]:
    """What was found about the lines."""
    return dataclasses.asdict(roles)


def people_lines(decoded: Decoded, sink: WordSink) -> Iterator[str]:
    """The result for a person."""
    yield f"{'time_ns':>14}  {'latch':<20} {'bits':>4}  {'word':<12} {'clocks':>6}  note"
    for word in sink.first:
        latch = "+".join(word.latches) + (f" #{word.position}" if word.position else "")
        yield (
            f"{word.time_ns:>14}  {latch:<20} {word.bits:>4}  {word_text(word):<12} {word.clocks_since:>6}  {word.note}"
        ).rstrip()
    if sink.count > len(sink.first):
        yield f"... and {sink.count - len(sink.first)} more; --csv FILE holds all"
    yield ""
    for distance in decoded.timing.distances:
        if distance.count:
            yield _distance_line(distance)
    timing = decoded.timing
    if timing.clock_hz:
        limit = f"  limit {timing.clock_limit_hz:g} Hz" if timing.clock_limit_hz else ""
        yield f"{'clock':<15} fastest {timing.clock_hz:.6g} Hz{limit}"
    if timing.error_bound_ratio is not None:
        yield (
            f"{'wrong frames':<15} at most {timing.error_bound_ratio:.3g} of all at 95 % confidence, "
            f"from {timing.sound_words} sound ones"
        )
    for line in decoded.levels:
        yield (
            f"{'levels ' + line.line:<15} low {_volts(line.low_v)} (most {_volts(line.most_low_v)}), "
            f"high {_volts(line.high_v)} (least {_volts(line.least_high_v)}); V_IL {line.v_il_v:.3g} V, "
            f"V_IH {line.v_ih_v:.3g} V"
        )
    if timing.resolution_ns > 1.0:
        yield f"{'resolution':<15} {timing.resolution_ns:g} ns"
    yield ""
    for finding in decoded.findings:
        yield f"{finding.weight:<8} {finding.name}: {finding.text}"


def _distance_line(distance: BusDistance) -> str:
    text = f"{distance.name:<15} smallest {distance.minimum_ns:g} ns, mean {distance.mean_ns:.4g} ns"
    text += f", n {distance.count}"
    if distance.margin_ns is not None:
        text += f"; limit {distance.limit_ns:g} ns, margin {distance.margin_ns:+g} ns"
    return text


def _volts(value_v: float | None) -> str:
    return "-" if value_v is None else f"{value_v:.3g} V"
