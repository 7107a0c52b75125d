"""The kinds of stage that a device file may name, one small module each."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from harness.law.stages.kind import CodeStage, Control, Controls, Flaw, StageKind
from harness.law.stages.linear_code import LinearCode
from harness.law.stages.loading import Loading
from harness.law.stages.pregain_bit import PregainBit
from harness.law.stages.relay_attenuator import RelayAttenuator

KINDS: Mapping[str, type[StageKind]] = MappingProxyType(
    {stage.kind: stage for stage in (RelayAttenuator, PregainBit, LinearCode, Loading)}
)
"""By the word after `kind =`; a new kind is a module, a line here, a section in configs/README.md."""

__all__ = ["KINDS", "CodeStage", "Control", "Controls", "Flaw", "StageKind"]
