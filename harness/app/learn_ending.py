"""What a session of `gainladder learn` ends with: the explanation, the files, and the words about them."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from harness.app.learn_notebook import Answers
from harness.app.learn_stages import USUAL_FILL, Session, fill_low_of
from harness.app.output import write_file
from harness.app.setup import setup_of_run
from harness.app.version import version
from harness.bus import BusWiring
from harness.config import SettingsFile
from harness.learn import (
    Explained,
    Gathered,
    Rule,
    account_of,
    device_text,
    draft_of,
    explain,
    find_rule,
    gather_readings,
    proposed_limits_text,
)
from harness.learn.write.toml import whole
from harness.report import learned_html
from harness.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """All that a session knows at its end."""

    run: str
    gathered: Gathered
    explained: Explained
    rule: Rule


def conclude(session: Session, store: Store, run: str) -> Learned:
    """Explain the readings of a run; LearnError when they do not allow a device file."""
    book = session.notebook
    setup = setup_of_run(store.header(run))
    gathered = gather_readings(
        store.readings(run), device=setup.device, wiring=book.wiring, latches=book.latches,
        input_ratio=setup.input_ratio, in_volts=session.bench.profiles["device"].in_volts,
    )  # fmt: skip
    explained = explain(gathered.observed, waves=gathered.waves, named=session.settings.named_gains() or None)
    draft = draft_of(explained, session.settings, book.wiring, date=session.date, owner=session.owner)
    return Learned(run=run, gathered=gathered, explained=explained, rule=find_rule(explained, draft))


def write_learned(
    learned: Learned, settings: SettingsFile, out: Path, *, wiring: BusWiring | None, answers: Answers, source: str
) -> tuple[Path, ...]:
    """Device file, limits proposal, story page; their paths. ReportError when one cannot be written."""
    made_by = f"Written by gainladder {version()} from {source}."
    limits, page = out.with_name(f"{out.stem}-limits.toml"), out.with_suffix(".html")
    change = learned.rule.draft.change
    proposal = proposed_limits_text(
        learned.explained, name=settings.name, date=change["date"], owner=change["owner"], made_by=made_by
    )
    account = account_of(
        learned.gathered, learned.explained, learned.rule, settings, wiring=wiring, answers=answers, source=source
    )
    write_file(out, device_text(learned.explained, learned.rule, made_by=made_by))
    write_file(limits, proposal)
    write_file(page, learned_html(account, software=version()))
    return out, limits, page


def write_files(session: Session, learned: Learned, out: Path) -> tuple[Path, ...]:
    """Device file, limits proposal, story page, job; their paths. ReportError when one cannot be written."""
    source, book = f"run {learned.run}", session.notebook
    out, limits, page = write_learned(
        learned, session.settings, out, wiring=book.wiring, answers=book.answers, source=source
    )
    made_by = f"Written by gainladder {version()} from {source}."
    job = out.with_name(f"{out.stem}-job.toml")
    name, date, owner = session.settings.name, session.date, session.owner
    bench = os.path.relpath(session.bench.path, out.parent).replace(os.sep, "/")
    tables = {
        "kind": "job", "version": 1, "name": f"{name}, as learned", "device": out.name, "bench": bench,
        "limits": limits.name, "change": [{"version": 1, "date": date, "owner": owner, "reason": "learned"}],
    }  # fmt: skip
    if session.in_process:
        tables["transport"] = "in-process"
    ladder: dict[str, object] = {"fine": list(session.fine)} if session.fine else {}
    if (fill_low := fill_low_of(session.notebook.least_fill)) < USUAL_FILL:
        ladder["fill_low"] = fill_low
    if ladder:
        tables["ladder"] = ladder
    write_file(job, whole(tables, heading=made_by))
    return out, limits, page, job
