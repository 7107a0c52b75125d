"""Gain laws: what each setting of a device should be, as a product of stages; control words both ways; fits."""

from harness.law.build import build
from harness.law.corrections import Conditions
from harness.law.design import LN_K, Design, design_matrix
from harness.law.fit import FittedParameter, LawFit, fit_law
from harness.law.gain_law import GainLaw, PredictedMany
from harness.law.response import frequency_ratio
from harness.law.spread import Part, parts
from harness.law.stages import KINDS

__all__ = [
    "KINDS",
    "LN_K",
    "Conditions",
    "Design",
    "FittedParameter",
    "GainLaw",
    "LawFit",
    "Part",
    "PredictedMany",
    "build",
    "design_matrix",
    "fit_law",
    "frequency_ratio",
    "parts",
]
