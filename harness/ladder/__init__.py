"""Which settings are visited, in what order, at what drive level."""

from harness.ladder.build import build
from harness.ladder.drive import input_ratio
from harness.ladder.preview import PreviewRow, PreviewSummary, preview_rows, preview_summary

__all__ = ["PreviewRow", "PreviewSummary", "build", "input_ratio", "preview_rows", "preview_summary"]
