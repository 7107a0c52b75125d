"""`gainladder learn` from records only: a CSV of gains, captures by setting; no bench is opened."""

from __future__ import annotations

import datetime
from pathlib import Path

from harness.app.decode_feed import CsvFeed, VcdFeed
from harness.app.files import FileSet
from harness.app.learn_ending import Learned, write_learned
from harness.app.learn_notebook import Answers
from harness.app.learn_stages import answers_of
from harness.app.output import say
from harness.bus import BusWiring
from harness.bus.feed import Feed, beginning
from harness.config import SettingsFile
from harness.drivers import RealClock
from harness.errors import CaptureError, ConfigError, UsageError
from harness.learn import (
    Gathered,
    Recorded,
    draft_of,
    explain,
    find_rule,
    gather_captures,
    gather_records,
    hear,
    labelled,
    read_gains,
    setting_of_stem,
)
from harness.learn.volt_records import VoltRecord, measured, volts_of, with_gains, with_spacings
from harness.learn.write.draft import FROM_CAPTURES, NOT_HEARD
from harness.values import Capture, Setting

SUFFIXES = (".csv", ".vcd")


def learned_from_records(
    *, settings_path: str, readings: str, captures: str, out: Path, owner: str
) -> tuple[Learned, SettingsFile, tuple[Path, ...]]:
    """Read, explain, write; what was learned, and the files."""
    files = FileSet()
    settings = files.read(SettingsFile, "settings", settings_path)
    files.check()
    if settings is None:  # pragma: no cover - check has raised
        raise ConfigError(())
    recorded = read_gains(_text(readings), settings=settings, file=readings)
    volts = _volts(recorded, settings, Path(readings).parent)
    gathered, wiring, answers = _gathered(with_gains(recorded, volts), settings, captures)
    gathered = with_spacings(gathered, volts) if volts else gathered
    explained = explain(gathered.observed, waves={}, named=settings.named_gains() or None)
    date = datetime.date.fromisoformat(RealClock().utc()[:10])
    sure = FROM_CAPTURES if captures else NOT_HEARD
    draft = draft_of(explained, settings, wiring, date=date, owner=owner, bus_sure=sure)
    learned = Learned(run="", gathered=gathered, explained=explained, rule=find_rule(explained, draft))
    source = f"the records {readings}" + (f" and the captures in {captures}" if captures else "")
    paths = write_learned(learned, settings, out, wiring=wiring if captures else None, answers=answers, source=source)
    return learned, settings, paths


def _gathered(
    recorded: tuple[Recorded, ...], settings: SettingsFile, captures: str
) -> tuple[Gathered, BusWiring | None, Answers]:
    if not captures:
        return *gather_records(recorded), ()
    found = _captures(Path(captures), settings)
    pulse_ns = settings.probed.minimum_pulse_ns if settings.probed is not None else 0.0
    try:
        heard = hear(tuple(labelled(found)), minimum_pulse_ns=pulse_ns, channels=settings.channels)
    except CaptureError as error:
        raise UsageError(f"{captures}: {error}") from error
    for trouble in heard.troubles:
        say(f"TROUBLE    {trouble}")
    return gather_captures(recorded, found, heard), heard.wiring, answers_of(heard.roles, heard.troubles)


def _volts(recorded: tuple[Recorded, ...], settings: SettingsFile, folder: Path) -> dict[Setting, VoltRecord]:
    """The records in scaled volts that the lines name, beside the CSV."""
    return {
        one.setting: measured(
            volts_of(_text(str(folder / one.record)), file=str(folder / one.record)), input_vpk=one.input_vpk,
            settings=settings,
        )
        for one in recorded if one.record
    }  # fmt: skip


def _captures(folder: Path, settings: SettingsFile) -> dict[Setting, Capture]:
    """Every capture of a folder by its setting."""
    try:
        paths = sorted(path for path in folder.iterdir() if path.suffix.lower() in SUFFIXES)
    except OSError as error:
        raise UsageError(f"{folder}: cannot be read: {error.strerror or error}; name a folder of captures") from error
    if not paths:
        allowed = "allowed are files such as 1-0-12.csv or 1-0-12.vcd, by channel, range and fine position"
        raise UsageError(f"{folder}: got no capture; {allowed}: put them there")
    return {setting_of_stem(path.stem, settings=settings, file=str(path)): _capture(path) for path in paths}


def _capture(path: Path) -> Capture:
    try:
        with path.open("rb") as file:
            feed: Feed = VcdFeed(file, None, None) if path.suffix.lower() == ".vcd" else CsvFeed(path, None, None, None)
            return beginning(feed)
    except OSError as error:
        raise UsageError(f"{path}: cannot be read: {error.strerror or error}; mend it, or take it out") from error
    except CaptureError as error:
        raise UsageError(f"{path}: {error}") from error


def _text(path: str) -> str:
    try:
        return Path(path).read_text(encoding="utf-8-sig")
    except OSError as error:
        raise UsageError(f"{path}: cannot be read: {error.strerror or error}; name a readable CSV") from error
    except UnicodeDecodeError as error:
        got = f"byte {error.start} is no UTF-8"
        raise UsageError(f"{path}: {got}; allowed is a CSV in UTF-8: export it again") from error
