"""One session of `gainladder learn` from beginning to end."""

from __future__ import annotations

import datetime
import sys
from dataclasses import dataclass
from pathlib import Path

import click

from harness.app import cautions
from harness.app.files import FileSet
from harness.app.learn_ending import Learned, conclude, write_files
from harness.app.learn_known import Asking, known_of
from harness.app.learn_notebook import open_notebook
from harness.app.learn_records import learned_from_records
from harness.app.learn_stages import Session, listen, look, measure, scout_ranges
from harness.app.learn_text import explained_text, heard_text, scouted_text
from harness.app.output import ready_folder, result, result_json, say
from harness.app.setup import BenchSetup, read_bench
from harness.app.signals import interruptible
from harness.config import SettingsFile
from harness.drivers import RealClock
from harness.errors import ConfigError, ExitCode, Problem, UsageError
from harness.store import Store, open_store


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnRequest:
    """What the user asked for."""

    bench: str
    """Empty when readings say what a bench would."""
    readings: str
    captures: str
    settings: str
    out: str
    fine: tuple[int, ...]
    yes: bool
    anew: bool
    verify: bool
    limit_vpk: float | None
    """What the input bears, as the user says; None where a file says it, or the user is asked."""
    reports: str
    store: str
    seed: int | None
    faults: tuple[str, ...]
    operator: str
    as_json: bool


def learn(request: LearnRequest) -> int:
    """Look, listen, measure, explain, write; the exit code."""
    if request.readings or request.captures or not request.bench:
        return _from_records(request)
    say(cautions.long())
    session = _session(request)
    _stage("look", look(session))
    _confirm(request)
    with open_store(request.store) as store, interruptible():
        learned = _measured(session, store)
    out = Path(request.out)
    paths = write_files(session, learned, out)
    _stage("write", [str(path) for path in paths])
    if request.as_json:
        result_json(_content(learned, paths))
    else:
        result(f"learned {session.settings.name}: {out}; sweep with it: gainladder sweep {paths[-1]}")
    return _verified(request, paths[-1]) if request.verify else ExitCode.PASS


def _from_records(request: LearnRequest) -> int:
    """The same without a bench: explain and write."""
    if request.bench or not request.readings:
        got = "BENCH with --readings or --captures" if request.bench else "neither BENCH nor --readings"
        raise UsageError(f"learn: got {got}; allowed is a BENCH, or --readings FILE.csv, then --captures DIR if known")
    if not request.settings:
        raise UsageError("learn: got --readings without --settings; allowed is a settings file, for names and counts")
    if request.verify:
        raise UsageError("learn: got --verify with --readings; allowed is a BENCH to sweep on: leave --verify out")
    out = Path(request.out)
    learned, settings, paths = learned_from_records(
        settings_path=request.settings, readings=request.readings, captures=request.captures, out=out,
        owner=request.operator,
    )  # fmt: skip
    _stage("explain", list(explained_text(learned, settings)))
    _stage("write", [str(path) for path in paths])
    if request.as_json:
        result_json(_content(learned, paths))
    else:
        result(f"learned {settings.name} from records: {out}; nothing was verified")
    return ExitCode.PASS


def _measured(session: Session, store: Store) -> Learned:
    listen(session)
    _stage("listen", heard_text(session.notebook) or ["no line is probed"])
    troubles = scout_ranges(session)
    _stage("scout", [*scouted_text(session.notebook, session.settings), *(f"TROUBLE    {t}" for t in troubles)])
    run = measure(session, store)
    _stage("measure", [f"run {run}"])
    learned = conclude(session, store, run)
    _stage("explain", list(explained_text(learned, session.settings)))
    return learned


def _session(request: LearnRequest) -> Session:
    files = FileSet()
    bench = read_bench(files, request.bench)
    out = Path(request.out)
    folder = ready_folder(str(out.with_name(f"{out.stem}-learning")))
    date = datetime.date.fromisoformat(RealClock().utc()[:10])
    if bench is None or files.problems:
        if request.settings:
            files.read(SettingsFile, "settings", request.settings)
        files.check()
        raise ConfigError(())  # pragma: no cover - check has raised
    asking = Asking(
        settings=request.settings, limit_vpk=request.limit_vpk, silent=request.yes, anew=request.anew,
        seed=request.seed, faults=request.faults, date=date, owner=request.operator,
    )  # fmt: skip
    known = known_of(asking, files, bench, folder)
    _check_fine(request.fine, len(known.settings.fine_names))
    hashes = {"settings": known.sha256, "bench": files.stored["bench"].sha256}
    notebook = open_notebook(folder, hashes, anew=request.anew)
    known.keep(folder)
    return Session(
        settings=known.settings, bench=_fitting(bench, known.settings), folder=folder, notebook=notebook,
        date=date, owner=request.operator, seed=request.seed, faults=request.faults,
        fine=tuple(sorted(set(request.fine))), notes=known.notes,
    )  # fmt: skip


def _check_fine(fine: tuple[int, ...], count: int) -> None:
    problems = tuple(
        Problem(file="the command line", key="--fine", got=str(index), allowed=f"0 to {count - 1}")
        for index in fine if index >= count
    )  # fmt: skip
    if problems:
        raise ConfigError(problems)


def _fitting(bench: BenchSetup, settings: SettingsFile) -> BenchSetup:
    """ConfigError where the settings file asks for ears that the bench does not have, or the reverse."""
    has, wants = "adapter" in bench.profiles, settings.probed is not None
    if has == wants:
        return bench
    got = "an [adapter]" if has else "no [adapter]"
    allowed = "with [probed] in the settings file, and only then"
    raise ConfigError((Problem(file=bench.path, key="adapter", got=got, allowed=allowed),))


def _confirm(request: LearnRequest) -> None:
    if request.yes:
        return
    if not sys.stdin.isatty():
        raise UsageError("the cautions must be confirmed before anything is driven: give --yes where nobody is asked")
    click.confirm("Nothing is driven yet. Are the cautions understood, and the limits right?", abort=True, err=True)


def _stage(name: str, lines: list[str]) -> None:
    say("\n".join([f"-- {name}", *(f"   {line}" for line in lines)]))


def _content(learned: Learned, paths: tuple[Path, ...]) -> dict[str, object]:
    explained, rule = learned.explained, learned.rule
    return {
        "run": learned.run,
        "files": [str(path) for path in paths],
        "law": None if explained.law is None else str(explained.law.hypothesis.shape),
        "sure": explained.sure,
        "left_percent": None if explained.law is None else 100.0 * explained.law.scatter_ratio,
        "rule": rule.firmware["rule"],
        "words_right": rule.right,
        "words_seen": rule.seen,
        "stages": [dict(stage.keys) for stage in rule.draft.stages],
    }


def _verified(request: LearnRequest, job: Path) -> int:
    from harness.app.main import cli

    words = ["sweep", str(job), "--store", request.store, "--reports", request.reports, "--unit", "learned"]
    words += ["--operator", request.operator]
    words += [] if request.seed is None else ["--seed", str(request.seed)]
    for fault in request.faults:
        words += ["--fault", fault]
    return int(cli(words, standalone_mode=False) or 0)
