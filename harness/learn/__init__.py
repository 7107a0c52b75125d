"""An unknown device: listen to its bus, measure its gains, explain both, write a device file."""

from harness.learn.account import account_of
from harness.learn.explain import Explained, Moves, Observed, Part, Shape, Waves, explain
from harness.learn.gains_csv import Recorded, read_gains
from harness.learn.listen import Heard, Move, captures_of, hear, moves
from harness.learn.provisional import device_tables, job_text, limits_text, range_scales_vpp
from harness.learn.readings import Gathered, gather_readings
from harness.learn.records import gather_captures, gather_records, labelled, setting_of_stem
from harness.learn.write import Draft, Rule, device_text, draft_of, find_rule
from harness.learn.write import limits_text as proposed_limits_text

__all__ = [
    "Draft",
    "Explained",
    "Gathered",
    "Heard",
    "Move",
    "Moves",
    "Observed",
    "Part",
    "Recorded",
    "Rule",
    "Shape",
    "Waves",
    "account_of",
    "captures_of",
    "device_tables",
    "device_text",
    "draft_of",
    "explain",
    "find_rule",
    "gather_captures",
    "gather_readings",
    "gather_records",
    "hear",
    "job_text",
    "labelled",
    "limits_text",
    "moves",
    "proposed_limits_text",
    "range_scales_vpp",
    "read_gains",
    "setting_of_stem",
]
