"""Hardware or arithmetic from the waveform: tests W1 to W7, what they could have told, and how they combine."""

from harness.judge.waveform.assess import compare_records, waveform_tests
from harness.judge.waveform.beside import NOTHING, Beside, ExactStep
from harness.judge.waveform.clip import Overdriven, clip_level, overdriven
from harness.judge.waveform.combine import Decision, Evidence, Words, combine, factorise, sort_tests
from harness.judge.waveform.converter_noise import converter_noise
from harness.judge.waveform.doubles import double_ratio, doubled_codes
from harness.judge.waveform.exact import too_perfect
from harness.judge.waveform.gaps import Comb, code_gaps_test, comb_of
from harness.judge.waveform.ladder import Compared, WaveformLadder, WaveformView
from harness.judge.waveform.lattice import ROUNDINGS, Spacing, double_share, gap_share, reach, spacing_of, visits
from harness.judge.waveform.noise import input_noise, noise_ratio, samples_needed
from harness.judge.waveform.offset import offset_change
from harness.judge.waveform.pooled import PooledCodes, hits_needed, records_needed
from harness.judge.waveform.power import PowerRow, power_table, samples_to_fill
from harness.judge.waveform.record import Record, Seen, see
from harness.judge.waveform.result import LLR_CAP, SAYS_LLR, Says, WaveformTest
from harness.judge.waveform.same_codes import same_codes
from harness.judge.waveform.step_size import step_size

__all__ = [
    "LLR_CAP",
    "NOTHING",
    "ROUNDINGS",
    "SAYS_LLR",
    "Beside",
    "Comb",
    "Compared",
    "Decision",
    "Evidence",
    "ExactStep",
    "Overdriven",
    "PooledCodes",
    "PowerRow",
    "Record",
    "Says",
    "Seen",
    "Spacing",
    "WaveformLadder",
    "WaveformTest",
    "WaveformView",
    "Words",
    "clip_level",
    "code_gaps_test",
    "comb_of",
    "combine",
    "compare_records",
    "converter_noise",
    "double_ratio",
    "double_share",
    "doubled_codes",
    "factorise",
    "gap_share",
    "hits_needed",
    "input_noise",
    "noise_ratio",
    "offset_change",
    "overdriven",
    "power_table",
    "reach",
    "records_needed",
    "same_codes",
    "samples_needed",
    "samples_to_fill",
    "see",
    "sort_tests",
    "spacing_of",
    "step_size",
    "too_perfect",
    "visits",
    "waveform_tests",
]
