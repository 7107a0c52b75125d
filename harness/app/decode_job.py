"""The whole of `gainladder decode`: opens, decodes, writes."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from harness.app.decode_feed import BlockFeed, CsvFeed, PackedFeed, VcdFeed, form_of
from harness.app.decode_output import WordSink, decoded_json, json_pieces, people_lines, roles_json
from harness.app.decode_roles import label_of, roles_text
from harness.app.decode_wiring import DecodeSetup, read_wiring
from harness.app.output import result, result_json, say, write_file
from harness.bus import BusWiring, LabelledCapture, Roles, Thresholds, TimingLimits, find_roles
from harness.bus.capture_run import Decoded, DecodeRun
from harness.bus.feed import Feed, beginning
from harness.errors import CaptureError, ExitCode, UsageError

PLAIN_LINES = tuple(f"line-{k}" for k in range(8))


@dataclass(frozen=True, slots=True, kw_only=True)
class DecodeJob:
    """What was asked for."""

    capture: Path
    wiring_path: str
    form: str
    rate_hz: float | None
    labelled: tuple[str, ...]
    csv_path: Path | None
    figure_path: Path | None
    as_json: bool


def decode_capture(job: DecodeJob) -> ExitCode:
    """Decode a capture by its job."""
    form_of(job.capture, job.form)
    roles: Roles | None = None
    if job.wiring_path:
        if job.labelled:
            raise UsageError("--labelled is for finding roles; leave out --wiring, or leave out --labelled")
        setup = read_wiring(job.wiring_path)
    else:
        roles = _found(job)
        wiring = roles.wiring()
        if wiring is None:
            return _cannot_tell(job, roles)
        setup = DecodeSetup(name="found from the capture", wiring=wiring, limits=TimingLimits(), thresholds=None)
    sink = WordSink(job.csv_path, spool=job.as_json)
    try:
        decoded = _decoded(job, setup, sink)
        _write(job, setup, decoded, sink, roles)
    finally:
        sink.close()
    return decoded.exit_code


def _decoded(job: DecodeJob, setup: DecodeSetup, sink: WordSink) -> Decoded:
    with _feed(job, job.capture, setup.wiring, setup.thresholds) as feed:
        return DecodeRun(setup.wiring, setup.limits, sink.take).run(feed)


def _write(job: DecodeJob, setup: DecodeSetup, decoded: Decoded, sink: WordSink, roles: Roles | None) -> None:
    sink.finish()
    if job.as_json:
        content = decoded_json(decoded, capture=job.capture.name, wiring=setup.name)
        if roles is not None:
            content["roles"] = roles_json(roles)
        for piece in json_pieces(content, sink):
            sys.stdout.write(piece)
    else:
        for line in (*(roles_text(roles) if roles else ()), *people_lines(decoded, sink)):
            result(line)
    if job.figure_path:
        from harness.report.bus_page import bus_svg

        svg = bus_svg(decoded.frame, decoded.frame_word, setup.wiring, decoded.timing)
        write_file(job.figure_path, svg)
        say(f"wrote {job.figure_path}")
    if job.csv_path:
        say(f"wrote {job.csv_path}")
    if decoded.error:
        say(f"error: {job.capture}: {decoded.error}; {decoded.word_count} words before it are given")


def _found(job: DecodeJob) -> Roles:
    """Roles from the capture and the labelled ones."""
    sources = [(None, None, job.capture), *(label_of(text) for text in job.labelled)]
    captures = []
    for channel, rank, path in sources:
        with _feed(job, path, None, None) as feed:
            captures.append(LabelledCapture(capture=beginning(feed), channel=channel, rank=rank))
    try:
        return find_roles(tuple(captures))
    except CaptureError as error:
        raise UsageError(f"{error}; or name the lines with --wiring") from error


def _cannot_tell(job: DecodeJob, roles: Roles) -> ExitCode:
    if job.as_json:
        result_json({"capture": job.capture.name, "roles": roles_json(roles), "words": [], "exit_code": 3})
    else:
        for line in roles_text(roles):
            result(line)
    say("the roles of the lines cannot be told from this capture: name them with --wiring FILE")
    return ExitCode.INVALID


@contextmanager
def _feed(job: DecodeJob, path: Path, wiring: BusWiring | None, thresholds: Thresholds | None) -> Iterator[Feed]:
    """The file as a feed; what keeps it from being read at all is a UsageError."""
    form = form_of(path, job.form)
    try:
        with path.open("rb") as file:
            yield _feed_of(job, form, path, file, wiring, thresholds)
    except OSError as error:
        raise UsageError(f"{path}: cannot be read: {error.strerror or error}; name a readable capture") from error
    except CaptureError as error:
        raise UsageError(f"{path}: {error}") from error


def _feed_of(
    job: DecodeJob, form: str, path: Path, file: BinaryIO, wiring: BusWiring | None, thresholds: Thresholds | None
) -> Feed:
    data = wiring.data if wiring else None
    if form == "packed":
        if job.rate_hz is None:
            raise UsageError(f"{path}: packed samples need --rate HZ, the samples a second")
        return PackedFeed(file, wiring.lines if wiring else PLAIN_LINES, job.rate_hz)
    if form == "vcd":
        return VcdFeed(file, wiring.lines if wiring else None, data)
    if form == "block":
        return BlockFeed(file, wiring.lines if wiring else PLAIN_LINES)
    return CsvFeed(path, wiring.roles if wiring else None, data, thresholds)
