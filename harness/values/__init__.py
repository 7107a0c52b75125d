"""Frozen records that travel between the rooms, and the only decibel functions."""

from harness.values.bus_timing import BusDistance, BusRecord, BusTiming, LineLevels
from harness.values.capture import Capture, Decoding, LatchedWord
from harness.values.comparison import RunComparison, SettingChange
from harness.values.condition import CONDITION, Condition, conditions_of, conditions_text
from harness.values.converter import ConverterFigures, PathFigures
from harness.values.coverage import Coverage, CoverageRange, CoverageRow
from harness.values.decibel import db_from_ratio, db_from_ratios, ratio_from_db
from harness.values.detail import CodeCounts, Course, RecordResidual, RunDetail
from harness.values.evidence import Realness, RealnessEvidence, WaveformFinding
from harness.values.fit import Quality, SineFit
from harness.values.judgement import (
    BudgetLine,
    BudgetTable,
    Candidate,
    FlagNote,
    Judgement,
    Outcome,
    ParameterResult,
    RunResult,
    SettingResult,
    StepResult,
)
from harness.values.kept import Kept, KeptWord
from harness.values.learned import (
    LearnedBit,
    LearnedDevice,
    LearnedFact,
    LearnedLaw,
    LearnedLine,
    LearnedSetting,
    LearnedStage,
    LearnedStep,
)
from harness.values.night import (
    NightCoefficient,
    NightFailure,
    NightResult,
    NightRunRow,
    NightScatter,
    NightSeries,
)
from harness.values.purpose import Purpose
from harness.values.reading import Direction, Event, Reading, ReadingStatus
from harness.values.run import Certificate, ConfigFile, Identity, NightPlace, RunHeader, RunInfo
from harness.values.rung import Aggressor, Prediction, Rung, SteadyPlan
from harness.values.setting import ControlWord, Setting, State
from harness.values.shared_factor import SHARED_FACTOR, shared_factor_of, shared_factor_text
from harness.values.summary import Charted, HeldItem, LotRun, RunSummary
from harness.values.waveform import Codes, Waveform, joined

__all__ = [
    "CONDITION",
    "SHARED_FACTOR",
    "Aggressor",
    "BudgetLine",
    "BudgetTable",
    "BusDistance",
    "BusRecord",
    "BusTiming",
    "Candidate",
    "Capture",
    "Certificate",
    "Charted",
    "CodeCounts",
    "Codes",
    "Condition",
    "ConfigFile",
    "ControlWord",
    "ConverterFigures",
    "Course",
    "Coverage",
    "CoverageRange",
    "CoverageRow",
    "Decoding",
    "Direction",
    "Event",
    "FlagNote",
    "HeldItem",
    "Identity",
    "Judgement",
    "Kept",
    "KeptWord",
    "LatchedWord",
    "LearnedBit",
    "LearnedDevice",
    "LearnedFact",
    "LearnedLaw",
    "LearnedLine",
    "LearnedSetting",
    "LearnedStage",
    "LearnedStep",
    "LineLevels",
    "LotRun",
    "NightCoefficient",
    "NightFailure",
    "NightPlace",
    "NightResult",
    "NightRunRow",
    "NightScatter",
    "NightSeries",
    "Outcome",
    "ParameterResult",
    "PathFigures",
    "Prediction",
    "Purpose",
    "Quality",
    "Reading",
    "ReadingStatus",
    "Realness",
    "RealnessEvidence",
    "RecordResidual",
    "RunComparison",
    "RunDetail",
    "RunHeader",
    "RunInfo",
    "RunResult",
    "RunSummary",
    "Rung",
    "Setting",
    "SettingChange",
    "SettingResult",
    "SineFit",
    "State",
    "SteadyPlan",
    "StepResult",
    "Waveform",
    "WaveformFinding",
    "conditions_of",
    "conditions_text",
    "db_from_ratio",
    "db_from_ratios",
    "joined",
    "ratio_from_db",
    "shared_factor_of",
    "shared_factor_text",
]
