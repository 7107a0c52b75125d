"""The kinds of stage that a device file may name, one small module each."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from harness.law.stages.arithmetic import Arithmetic
from harness.law.stages.control import Arrays, Control, Controls, array_of
from harness.law.stages.converter_gain import ConverterGain
from harness.law.stages.kind import LN_PER_DB, SETTING, CodeStage, Flaw, Floats, Parameter, StageKind, Term
from harness.law.stages.linear_code import LinearCode
from harness.law.stages.linear_in_db import LinearInDb
from harness.law.stages.loading import Loading
from harness.law.stages.mdac import MdacAttenuator, MdacFeedback
from harness.law.stages.pregain_bit import PregainBit
from harness.law.stages.relay_attenuator import RelayAttenuator
from harness.law.stages.step_attenuator import StepAttenuator
from harness.law.stages.switched_gain import SwitchedGain
from harness.law.stages.table import Table

KINDS: Mapping[str, type[StageKind]] = MappingProxyType(
    {
        stage.kind: stage
        for stage in (
            RelayAttenuator, PregainBit, LinearCode, LinearInDb, MdacAttenuator, MdacFeedback, SwitchedGain,
            StepAttenuator, Loading, Table, ConverterGain, Arithmetic,
        )
    }
)  # fmt: skip
"""By the word after `kind =`; a new kind is a module, a line here, a section in configs/README.md."""

__all__ = [
    "KINDS",
    "LN_PER_DB",
    "SETTING",
    "Arrays",
    "CodeStage",
    "Control",
    "Controls",
    "Flaw",
    "Floats",
    "Parameter",
    "StageKind",
    "Term",
    "array_of",
]
