"""What a night says at its end: every run judged from its record, the page, and why it ended."""

from __future__ import annotations

from pathlib import Path

from harness import report
from harness.app.night import NightEnd
from harness.app.night_report import judged_night
from harness.app.output import result, result_json, say, write_file
from harness.app.version import version
from harness.errors import ExitCode
from harness.judge import exit_code
from harness.store import Store


def conclude_night(store: Store, night_id: str, end: NightEnd, folder: Path, *, as_json: bool) -> int:
    """Judge the runs of a night, write its page, say what they came to; the exit code."""
    night = judged_night(store, night_id, end.stops)
    page = folder / f"{night_id}.html"
    write_file(page, report.night_html(night, software=version()))
    for words in night.why:
        say(f"stopped: {words}")
    for failure in night.failures[:20]:
        say(f"FAIL{' (new)' if failure.new else ''} {failure.unit} {failure.label}: {failure.count} runs")
    if as_json:
        result_json({
            "night": night_id, "verdict": night.verdict, "finished": end.finished, "planned": end.planned,
            "stops": list(night.why), "report": str(page),
            "runs": [{"run": row.run_id, "unit": row.unit, "verdict": row.verdict} for row in night.runs],
        })  # fmt: skip
    else:
        result(f"{night.verdict}  night {night_id}: {end.finished} of {end.planned} runs finished")
        result(f"report {page}")
    code = exit_code(night.verdict)
    return int(ExitCode.INVALID if code is ExitCode.PASS and (end.stops or end.finished < end.planned) else code)
