"""Which settings are visited, in what order, at what drive level."""

from harness.ladder.anchors import anchor_rungs
from harness.ladder.audit import is_audited
from harness.ladder.build import build
from harness.ladder.coverage import coverage
from harness.ladder.drive import Drive, drive_of, input_ratio, open_ratio, terminal_ratio
from harness.ladder.extra import plan_extras
from harness.ladder.ground import Ground, OtherSource
from harness.ladder.night import NightRun, night_runs
from harness.ladder.preview import PreviewRow, PreviewSummary, preview_rows, preview_summary
from harness.ladder.probe import probe_rungs
from harness.ladder.station import pattern_rungs, quiet_rungs

__all__ = [
    "Drive",
    "Ground",
    "NightRun",
    "OtherSource",
    "PreviewRow",
    "PreviewSummary",
    "anchor_rungs",
    "build",
    "coverage",
    "drive_of",
    "input_ratio",
    "is_audited",
    "night_runs",
    "open_ratio",
    "pattern_rungs",
    "plan_extras",
    "preview_rows",
    "preview_summary",
    "probe_rungs",
    "quiet_rungs",
    "terminal_ratio",
]
