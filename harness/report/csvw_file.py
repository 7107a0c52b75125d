"""The description that goes with the CSV: type and unit of each column, and the run, as JSON for other programs."""

from __future__ import annotations

import json
from typing import Any

from harness.report.csv_file import COLUMNS
from harness.report.json_file import header_record
from harness.values import Outcome, Realness, RunHeader, RunResult

WHOLE = frozenset({"channel", "coarse_index", "fine_index", "attempts", "gap_inner", "gap_empty", "gap_longest"})
TEXTS = frozenset(
    {
        "run", "unit", "range", "fine", "setting", "reason", "expected_word", "captured_words", "waveform_tests",
        "flags", "realness_by_words", "realness_by_waveform", "waveform_confidence", "contradiction",
    }
)  # fmt: skip
OUTCOMES = frozenset({"outcome", "word_outcome"})
UNITS = {
    "_percent": "%", "_vpk": "V", "_in_v": "V", "_db": "dB", "_bits": "bit", "_ratio": "1", "_code": "code",
    "codes_per_v": "code/V",
}  # fmt: skip
"""By the ending of the name; the unit of `code` is a step of the converter."""


def csvw_text(header: RunHeader, result: RunResult, *, file: str) -> str:
    """What the columns of a run's CSV are, and what the run is.

    Args:
        header: of the run.
        result: of the run.
        file: name of the CSV, which must lie in the same folder.
    Returns:
        JSON, a line feed at its end; the CSV's name with `-metadata.json` behind it is where programs look for it.
    Source:
        W3C Recommendations of 17 December 2015, Metadata Vocabulary for Tabular Data, and Model for Tabular Data 5.
    """
    about = header_record(header) | {"verdict": str(result.verdict), "complete": result.complete}
    content = {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "url": file,
        "dc:title": f"gains of unit {header.unit}, run {header.run_id}",
        "dc:description": f"verdict {result.verdict}; a row is a setting",
        "dc:creator": f"gainladder {header.software}",
        "dc:date": header.started_utc,
        "notes": [{"run": about}],
        "dialect": {"header": True, "encoding": "utf-8", "lineTerminators": ["\r\n"]},
        "tableSchema": {
            "columns": [_column(name) for name in COLUMNS],
            "primaryKey": ["run", "channel", "coarse_index", "fine_index"],
        },
    }
    return json.dumps(content, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _column(name: str) -> dict[str, Any]:
    column: dict[str, Any] = {"name": name, "titles": name, "datatype": _datatype(name)}
    unit = next((unit for ending, unit in UNITS.items() if name.endswith(ending)), None)
    return column | ({"schema:unitText": unit} if unit and name not in WHOLE | TEXTS | OUTCOMES else {})


def _datatype(name: str) -> Any:
    if name in OUTCOMES or name == "realness":
        words = Realness if name == "realness" else Outcome
        return {"base": "string", "format": "|".join(str(word) for word in words)}
    return "string" if name in TEXTS else "integer" if name in WHOLE else "double"
