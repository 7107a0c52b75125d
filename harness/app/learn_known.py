"""What is known when `gainladder learn` begins: a settings file, what the device tells of itself, the input limit."""

from __future__ import annotations

import datetime
import sys
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from harness.app.files import FileSet
from harness.app.output import write_file
from harness.app.setup import BenchSetup
from harness.app.survey_open import can_be_asked, survey
from harness.config import SettingsFile, parse, validate
from harness.config.instrument_file import FACTS, LISTS
from harness.config.parse import sha256_of
from harness.errors import ConfigError, Problem, UsageError
from harness.learn.asked import ADAPTER_LINES, ASKED, USUAL, completed, contradictions, least_limit, told_problems
from harness.learn.write.toml import whole
from harness.values import Surveyed

NAME = "settings.toml"
HEADING = "What gainladder learn began with: what was given, and the rest as the device tells it."
USER, DEVICE, FILE = "the command line", "the device", "the settings file"


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """Where a session begins."""

    settings: SettingsFile
    sha256: str
    text: str
    """A settings file made of what was given and what the device tells; empty where the one given says all."""
    notes: tuple[str, ...]
    """What was asked of the device, and whose input limit holds, for people."""

    def keep(self, folder: Path) -> None:
        """The settings file that was made, beside the notebook; ReportError when it cannot be written."""
        if self.text:
            write_file(folder / NAME, self.text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """What the user said."""

    settings: str
    """Path; empty for none."""
    limit_vpk: float | None
    silent: bool
    """Whether nobody can be asked."""
    anew: bool
    seed: int | None
    faults: tuple[str, ...]
    date: datetime.date
    owner: str


def known_of(asking: Asking, files: FileSet, bench: BenchSetup, folder: Path) -> Known:
    """Settings file, device and user together; the user says the input limit before the device is asked anything.

    ConfigError where a file or an answer is wrong, or both contradict each other; UsageError where nobody says the
    input limit, or what the device has; BenchError where the device does not answer.
    """
    text = files.text(asking.settings, "the command line") if asking.settings else ""
    files.check()
    given = _tables(text or "", asking.settings)
    by_words = given.get("set_by") == "adapter"
    lacks = [key for key in ASKED if key not in given and not (by_words and key in ("coarse", "fine"))]
    _check_askable(lacks, bench, asking)
    limit_vpk = _limit(asking, given)
    told = Surveyed()
    if can_be_asked(bench) and not by_words:
        told = survey(bench, seed=asking.seed, faults=asking.faults)
    made = ""
    if lacks or "input" not in given:
        if "coarse" in lacks or "fine" in lacks:
            files.problems += told_problems(told, device=bench.profiles["device"].name)
            files.check()
        tables = _whole(given, told, asking, bench)
        if "input" not in given:
            tables["input"] = _input(told, limit_vpk, asking.settings or bench.path)
        made = text = _as_before(tables, folder, anew=asking.anew)
    settings = parse(SettingsFile, text or "", file=asking.settings or f"settings of {bench.path}")
    files.problems += contradictions(settings, told, file=asking.settings or f"settings of {bench.path}")
    files.check()
    settings, who = _least(settings, limit_vpk, told, file=bool(asking.settings and "input" in given))
    notes = [f"told by the device: {', '.join(lacks)}"] if lacks else []
    if not asking.settings:
        notes.append("chosen, for nobody said: record, waits" + (", names of the lines" if settings.probed else ""))
    notes.append(f"the input limit is that of {who}")
    return Known(settings=settings, sha256=sha256_of(text or ""), text=made, notes=tuple(notes))


def _tables(text: str, path: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ConfigError((Problem(file=path, key="(text)", got=str(error), allowed="TOML 1.0"),)) from error


def _check_askable(lacks: list[str], bench: BenchSetup, asking: Asking) -> None:
    """UsageError where the profile has no question for what the settings file leaves out."""
    wants = {LISTS: {"channels", "coarse", "fine"} & set(lacks), FACTS[:1]: {"converter"} & set(lacks)}
    for verbs, keys in wants.items():
        if keys and not can_be_asked(bench, verbs):
            got = f"{asking.settings} without {', '.join(sorted(keys))}" if asking.settings else "no --settings"
            profile = bench.profiles["device"].name
            raise UsageError(
                f"learn: got {got}, and the profile of the {profile} has no {', '.join(verbs)}; allowed is a settings "
                "file with them, or a profile that asks the device: give --settings FILE, or add the questions"
            )


def _limit(asking: Asking, given: Mapping[str, Any]) -> float | None:
    """What the user says that the input bears; asked for where nothing says it."""
    if asking.limit_vpk is not None or "input" in given:
        return asking.limit_vpk
    if asking.silent or not sys.stdin.isatty():
        todo = "allowed is a limit in V peak, before anything: give --input-limit VPK, or [input] in a settings file"
        raise UsageError(f"learn: nobody said what the input bears; {todo}")
    above = click.FloatRange(min=0, min_open=True)
    return float(click.prompt("What may the input get at most, V peak?", type=above, err=True))


def _whole(given: Mapping[str, Any], told: Surveyed, asking: Asking, bench: BenchSetup) -> dict[str, Any]:
    change = {"version": 1, "date": asking.date, "owner": asking.owner, "reason": "asked of the device"}
    first = {
        "kind": "settings", "version": 1, "name": bench.profiles["device"].name, "description": "Asked of the device.",
        "change": [change],
    }  # fmt: skip
    tables = completed(given if asking.settings else first, told)
    for key, table in USUAL.items():
        tables.setdefault(key, dict(table))
    if not asking.settings and "adapter" in bench.profiles:
        tables["probed"] = {"lines": list(ADAPTER_LINES)}
    return tables


def _input(told: Surveyed, limit_vpk: float | None, file: str) -> dict[str, Any]:
    if told.input is None:
        allowed = "[input] with impedance_ohm and its limit: the device does not tell its impedance"
        raise ConfigError((Problem(file=file, key="input", got="nothing", allowed=allowed),))
    table, _ = least_limit(told.input.impedance_ohm, {USER: limit_vpk, DEVICE: told.input.max_vpk})
    return table


def _as_before(tables: Mapping[str, Any], folder: Path, *, anew: bool) -> str:
    """The text of an earlier session where it says the same, whatever its date; else a new one."""
    text = whole({key: value for key, value in tables.items() if value is not None}, heading=HEADING)
    before = folder / NAME
    if anew or not before.exists():
        return text
    try:
        kept = before.read_text(encoding="utf-8")
        said = tomllib.loads(kept)
    except (OSError, ValueError):
        return text
    now = tomllib.loads(text)
    same = {**said, "change": ()} == {**now, "change": ()}
    return kept if same else text


def _least(settings: SettingsFile, limit_vpk: float | None, told: Surveyed, *, file: bool) -> tuple[SettingsFile, str]:
    """The same settings with the lowest of all input limits, and who said it."""
    ohm = settings.input.impedance_ohm
    own = next(entry.max_vpk for entry in settings.input.limit if entry.impedance_ohm == ohm)
    device_vpk = None if told.input is None else told.input.max_vpk
    says = {USER: limit_vpk, FILE: own if file else None, DEVICE: device_vpk}
    table, who = least_limit(ohm, says)
    if table["limit"][0]["max_vpk"] == own:
        return settings, who
    lowered = [entry if entry.impedance_ohm != ohm else table["limit"][0] for entry in settings.input.limit]
    changed = validate(type(settings.input), settings.input.model_dump() | {"limit": lowered}, file=who)
    return settings.model_copy(update={"input": changed}), who
