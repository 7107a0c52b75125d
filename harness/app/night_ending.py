"""What a night says at its end: every run judged from its record, the worst of them, and why it ended."""

from __future__ import annotations

from pathlib import Path

from harness.app.night import NightEnd
from harness.app.output import result, result_json, say
from harness.app.run import judged, verdict_line
from harness.errors import ExitCode
from harness.judge import exit_code, worst_outcome
from harness.store import Store


def conclude_night(store: Store, night_id: str, end: NightEnd, folder: Path, *, as_json: bool) -> int:
    """Judge the runs of a night, say what they came to; the exit code."""
    found = [
        judged(store, info.header.run_id)
        for info in reversed(store.runs())
        if info.header.night is not None and info.header.night.night_id == night_id
    ]
    verdict = worst_outcome([decided.verdict for _, decided in found])
    for header, decided in found:
        say(f"{header.run_id}  {header.night.corner if header.night else ''}: {verdict_line(header, decided)}")
    for words in end.stops:
        say(f"stopped: {words}")
    if as_json:
        result_json({
            "night": night_id, "verdict": verdict, "finished": end.finished, "planned": end.planned, "stops": end.stops,
            "runs": [{"run": h.run_id, "unit": h.unit, "verdict": d.verdict} for h, d in found],
        })  # fmt: skip
    else:
        result(f"{verdict}  night {night_id}: {end.finished} of {end.planned} runs finished")
    code = exit_code(verdict)
    return int(ExitCode.INVALID if code is ExitCode.PASS and (end.stops or end.finished < end.planned) else code)
