"""What was decided, and on what ground."""

from __future__ import annotations

import enum
from dataclasses import dataclass

from harness.values.bus_timing import BusRecord
from harness.values.converter import ConverterFigures, PathFigures
from harness.values.evidence import Realness, RealnessEvidence
from harness.values.run import Certificate
from harness.values.setting import ControlWord, Setting


class Outcome(enum.StrEnum):
    """The four outcomes; INVALID is neither a product failure nor a pass."""

    PASS = "PASS"
    FAIL = "FAIL"
    INCONCLUSIVE = "INCONCLUSIVE"
    INVALID = "INVALID"


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """One requirement held against one setting, one step or the run."""

    item: str
    """Name in the judge's registry of claims, such as `gain`, `fine-step` or `word`."""
    setting: Setting | None
    """The setting; for a step the upper one; None for the run."""
    other: Setting | None
    """For a step the lower setting."""
    outcome: Outcome
    measured: float | None
    """In `unit`; None where the claim has no number."""
    low: float | None
    high: float | None
    guard: float
    """Guard band w in `unit`: PASS inside the limits by w or more, FAIL outside by more than w, else INCONCLUSIVE."""
    unit: str
    margin: float | None
    """Distance to the nearest limit, positive inside, in `unit`."""
    reason: str
    """For people: what was got, what is allowed, what to look at. Empty for a plain PASS."""
    rule: str = ""
    """Decision rule of the limit; empty where the claim has no number."""
    expanded: float | None = None
    """Expanded uncertainty U that the decision rests on, k = 2, in `unit`; None where none is stated."""
    tur_ratio: float | None = None
    """Test uncertainty ratio: half the width between the limits over U; None without U or with one limit."""
    conformance_ratio: float | None = None
    """How likely the true value meets the limits, 0 to 1; None without U."""
    warning: str = ""
    """Empty, or what is wrong with the measurement's power to decide."""

    @property
    def consumer_risk_ratio(self) -> float | None:
        """Specific consumer's risk: how likely what passes by its rule is bad all the same, 0 to 1; None without U, or
        where it does not pass. JCGM 106:2012, 9.3.2."""
        if self.conformance_ratio is None or self.outcome is not Outcome.PASS:
            return None
        return 1.0 - self.conformance_ratio

    @property
    def producer_risk_ratio(self) -> float | None:
        """Specific producer's risk: how likely what fails by its rule is good all the same, 0 to 1; None without U, or
        where it does not fail. JCGM 106:2012, 9.3.3."""
        return self.conformance_ratio if self.outcome is Outcome.FAIL else None


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingResult:
    """The row of one setting: measured values beside predicted ones."""

    setting: Setting
    label: str
    """For people, such as `ch2 50 mV 70 %`."""
    outcome: Outcome
    """The worst of this setting's own claims; steps count apart."""
    reason: str
    """The first failing claim in words; empty for PASS."""
    expected_word: ControlWord
    captured_words: tuple[str, ...]
    """Distinct words captured at this setting, as text; empty when nothing was captured."""
    word_outcome: Outcome | None
    """None when the job or bench captures no words."""
    predicted_codes_per_v: float
    measured_codes_per_v: float | None
    """Mean over the valid readings; None without any."""
    residual_percent: float | None
    """100·ln(measured/predicted)."""
    up_down_percent: float | None
    """100·ln(up/down); None unless both directions are valid."""
    drive_vpk: float | None
    fill_ratio: float | None
    """Signal span over converter span, of the first valid reading."""
    offset_code: float | None
    noise_code: float | None
    """RMS residual of the fit, code steps."""
    code_spacing: int | None
    """Greatest common spacing of the codes seen; 2 means that every other code is never used."""
    realness: Realness
    arithmetic_ratio: float
    """Arithmetic part of the displayed gain that was found; 1.0 for hardware."""
    attempts: int
    fitted_percent: float | None = None
    """Residual to the fitted law, 100·ln(measured/fitted); None where the setting took no part in the fit."""
    expanded_percent: float | None = None
    """Expanded uncertainty of the absolute gain, k = 2; None where no budget was made."""
    own_percent: float | None = None
    """Expanded uncertainty of the residual to the fitted law; outside of the fit that without the common parts."""
    tur_ratio: float | None = None
    """Test uncertainty ratio of the absolute gain: half the width between its limits over its U."""
    gain_conformance_ratio: float | None = None
    """How likely the true gain meets its limits, 0 to 1; None without U or without limits on the absolute gain."""
    gain_consumer_risk_ratio: float | None = None
    """Where the gain passes: how likely it is bad all the same."""
    gain_producer_risk_ratio: float | None = None
    """Where the gain fails: how likely it is good all the same."""
    flags: tuple[str, ...] = ()
    """Short codes for what is remarkable about the readings without making them INVALID."""
    figures: ConverterFigures | None = None
    """Of the first valid reading."""
    evidence: RealnessEvidence | None = None
    """What words and waveform each say of it; None where that was not worked out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ParameterResult:
    """One fitted parameter of one channel."""

    channel: int
    name: str
    """Such as `ln K`, `attenuator 1:10`, `pregain`."""
    nominal: float
    estimate: float
    deviation_percent: float
    """100·ln(estimate/nominal)."""
    u_percent: float
    """Standard uncertainty of the deviation."""
    expanded_percent: float | None = None
    """Its expanded uncertainty U, k = 2 or Student's factor of that probability."""
    identifiable: bool
    """Whether the readings decide it; else a prior does."""
    low: float | None
    high: float | None
    outcome: Outcome | None
    """None without a limit, or where the readings cannot tell the parameter."""
    reason: str
    guard: float = 0.0
    """Guard band of the limit, percent."""
    margin: float | None = None
    """Distance to the nearest limit, positive inside, percent; None without a decision."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepResult:
    """The row of one step between neighbouring settings of a channel."""

    lower: Setting
    upper: Setting
    kind: str
    """fine or coarse."""
    outcome: Outcome
    measured_ratio: float | None
    predicted_ratio: float
    residual_percent: float | None
    """100·ln(measured/predicted)."""
    realness: Realness
    word_changed: bool | None
    """None when words were not captured."""
    reason: str
    evidence: RealnessEvidence | None = None
    """What words and waveform each say of it; None where that was not worked out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetLine:
    """One contribution to the uncertainty of a gain."""

    name: str
    """Such as `meter, reading`."""
    kind: str
    """common or per reading."""
    stated: str
    """Such as `rectangular ±0.1 %`."""
    standard_percent: float
    """Standard uncertainty, percent of gain."""
    dof: float | None
    """Degrees of freedom; None where the standard uncertainty is taken as exact."""
    share_percent: float
    """Of the combined variance; all lines together 100."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetTable:
    """The uncertainty of the absolute gain in one group of ranges, that of its worst reading."""

    group: str
    """Which ranges and channels, for people."""
    rows: tuple[BudgetLine, ...]
    standard_percent: float
    """Combined standard uncertainty of the absolute gain."""
    common_percent: float
    """Standard uncertainty of what is the same for all readings."""
    own_percent: float
    """Standard uncertainty of what each reading has for itself."""
    expanded_percent: float
    """factor · standard_percent."""
    factor: float
    """Coverage factor."""
    dof: float | None
    """Effective degrees of freedom; None for infinitely many."""
    notes: tuple[str, ...] = ()
    """For people: what was assumed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagNote:
    """One kind of flag in a run."""

    name: str
    """Short code, as in the rows of the settings."""
    settings: int
    """How many settings have it."""
    example: str
    """The first of them in words, with numbers: what was got, what is allowed, what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A fault that would explain what was seen."""

    fault: str
    """Name in the catalogue."""
    why: str
    test: str
    """What would tell it from the other candidates."""
    id: str = ""
    """In the catalogue: F the unit, T the station, I instruments, links and host; empty where unknown."""
    predicts: str = ""
    """How it shows."""
    look: str = ""
    """Where on the board, or on the bench, to look."""
    confidence_ratio: float | None = None
    """Likelihood among all faults that were compared, 0 to 1; None where nothing was compared."""
    distance: float | None = None
    """Squared distance of the readings from what it predicts, in standard uncertainties, with a cost for each size."""
    ambiguous: tuple[str, ...] = ()
    """Faults that these readings cannot tell from it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunResult:
    """Everything decided about a run: what the report shows."""

    verdict: Outcome
    complete: bool
    """False when readings are missing (interrupted): the verdict then covers what was read."""
    counts: tuple[tuple[Outcome, int], ...]
    """Settings per outcome, all four outcomes in order of the enum."""
    settings: tuple[SettingResult, ...]
    steps: tuple[StepResult, ...]
    judgements: tuple[Judgement, ...]
    candidates: tuple[Candidate, ...]
    worst: tuple[tuple[int, int, float], ...]
    """Channel, coarse, worst residual in percent (signed, largest magnitude)."""
    gain_limit_percent: tuple[float | None, float | None]
    """Low and high limit on the residual of a setting; None where there is none."""
    gain_guard_percent: float
    step_limit_percent: tuple[float | None, float | None]
    channel_count: int
    coarse_names: tuple[str, ...]
    fine_names: tuple[str, ...]
    declared_arithmetic: tuple[int, ...]
    """Coarse indices that the device file declares arithmetic."""
    notes: tuple[str, ...]
    """Warnings for the first screen."""
    parameters: tuple[ParameterResult, ...] = ()
    """Of the fitted law, by channel."""
    none_of_these: str = ""
    """Not empty when no known fault explains the readings well."""
    not_exercised: tuple[str, ...] = ()
    """Known faults that this run could not see, and what it would have to hold."""
    budgets: tuple[BudgetTable, ...] = ()
    """By range group, least sensitive first; empty where no budget was made."""
    flags: tuple[FlagNote, ...] = ()
    """What is remarkable about readings that were judged, each kind once."""
    paths: tuple[PathFigures, ...] = ()
    """Offset and noise before and after the gain, by channel and relays picked."""
    bus: tuple[BusRecord, ...] = ()
    """The control bus as each channel's captures show it; empty without captures."""
    certificates: tuple[Certificate, ...] = ()
    """Of the instruments that the gains rest on, as the bench file states them; empty on a simulated bench."""
    unmeasured: tuple[str, ...] = ()
    """Items of the limits file for which the job takes no readings: they decide nothing."""
