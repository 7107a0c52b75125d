"""Names for what is wrong: exact factors, patterns over words, relays, pre-gain and bits."""

from harness.diagnosis.candidates import candidates
from harness.diagnosis.exact_factors import FACTORS, ExactFactor, match_factor
from harness.diagnosis.observation import Observation

__all__ = ["FACTORS", "ExactFactor", "Observation", "candidates", "match_factor"]
