"""Statistics of many units: yield, capability, charts, most frequent reasons, other limits; figures in, figures out."""

from harness.judge.lot.capability import Capability, capability
from harness.judge.lot.chart import Chart, chart_of
from harness.judge.lot.gather import LotGatherer
from harness.judge.lot.other_limits import OtherLimits
from harness.judge.lot.run_length import ewma_run_length, zones_run_length
from harness.judge.lot.summarise import summary_of

__all__ = [
    "Capability",
    "Chart",
    "LotGatherer",
    "OtherLimits",
    "capability",
    "chart_of",
    "ewma_run_length",
    "summary_of",
    "zones_run_length",
]
