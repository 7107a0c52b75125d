"""Is the measuring good enough: gauge studies and control charts; no bench, no record, only numbers."""

from harness.judge.gauge.anova import Anova, anova_study
from harness.judge.gauge.average_range import RangeStudy, average_range_study
from harness.judge.gauge.ewma import ewma, run_limit_ratio
from harness.judge.gauge.range_factors import mean_range_ratio, single_range_ratio
from harness.judge.gauge.spread import GaugeSpread
from harness.judge.gauge.stations import StationsApart, stations_apart
from harness.judge.gauge.table import GaugeTable
from harness.judge.gauge.type1 import TypeOne, type_one

__all__ = [
    "Anova",
    "GaugeSpread",
    "GaugeTable",
    "RangeStudy",
    "StationsApart",
    "TypeOne",
    "anova_study",
    "average_range_study",
    "ewma",
    "mean_range_ratio",
    "run_limit_ratio",
    "single_range_ratio",
    "stations_apart",
    "type_one",
]
