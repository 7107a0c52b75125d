"""The acceptance suite: a job's claims as tests, swept as they are asked for; pytest itself stays in `fixtures`."""

from harness.app.suite.choose import ranges_named
from harness.app.suite.claim import Range, SuiteClaim, by_range, planned_claims
from harness.app.suite.decided import Decided, decide
from harness.app.suite.ended import Ended
from harness.app.suite.live import LiveRun, SuiteRequest
from harness.app.suite.rows import differences
from harness.app.suite.shown import claim_html, claim_properties, head_cells, row_cells, run_page, run_properties
from harness.app.suite.stored import StoredRun, open_record, setup_of_record
from harness.app.suite.tally import Tally

__all__ = [
    "Decided",
    "Ended",
    "LiveRun",
    "Range",
    "StoredRun",
    "SuiteClaim",
    "SuiteRequest",
    "Tally",
    "by_range",
    "claim_html",
    "claim_properties",
    "decide",
    "differences",
    "head_cells",
    "open_record",
    "planned_claims",
    "ranges_named",
    "row_cells",
    "run_page",
    "run_properties",
    "setup_of_record",
]
