"""Gain laws: what each setting of a device should be, as a product of stages; control words both ways."""

from harness.law.build import build
from harness.law.gain_law import GainLaw
from harness.law.stages import KINDS

__all__ = ["KINDS", "GainLaw", "build"]
