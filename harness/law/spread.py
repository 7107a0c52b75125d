"""How far a gain may be from the law when every part is within its tolerance."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.law.check_stages import SCALE
from harness.law.corrections import Conditions, parameters_of, sensitivities
from harness.law.domain import narrowed, widened
from harness.law.path import PathStage, SignalPath
from harness.law.stages import LN_PER_DB, SETTING, Arrays, Floats, Parameter, Term


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spread:
    """Half widths of 100 · ln G, each the root of the sum of squares of its parts."""

    common_percent: float
    """Of parts that move all settings alike: they cancel in every step."""
    independent_percent: Floats
    """Of parts that move settings differently, shape (n,)."""

    @property
    def total_percent(self) -> Floats:
        """Both together, shape (n,)."""
        return np.hypot(self.common_percent, self.independent_percent)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """What one parameter adds."""

    stage: str
    parameter: str
    half_width_percent: Term
    """Of 100 · ln G, >= 0: one number where it moves all settings alike and by the same amount."""
    common: bool
    signed_percent: Term = 0.0
    """The same with the sign of its direction: what two settings share of one parameter cancels between them."""
    independent: bool = False
    """Whether the parameter is drawn anew for every setting, so that nothing cancels."""


def parts(path: SignalPath, arrays: Arrays, conditions: Conditions | None = None) -> tuple[Part, ...]:
    """What each parameter with a tolerance adds to the spread of each setting.

    Args:
        path: stages with their tolerances.
        arrays: a value for each control, all of shape (n,).
        conditions: None takes those of the device file.
    Returns:
        one entry per parameter, in order of the path.
    Source:
        first-order propagation, half width times sensitivity of ln G (JCGM 100:2008, 5.1.3); sensitivities held against
        finite differences in tests/law/test_stage_registry.py.
    """
    under = conditions or path.conditions
    return tuple(
        Part(
            stage=part.stage,
            parameter=part.parameter,
            half_width_percent=widened(part.half_width_percent, place),
            common=part.common,
            signed_percent=widened(part.signed_percent, place),
            independent=part.independent,
        )
        for found, place in _by_stage(path, arrays, under)
        for part in found
    )


def spread(path: SignalPath, arrays: Arrays, conditions: Conditions | None = None) -> Spread:
    """How far each setting's gain may be from the law.

    Args:
        path: stages with their tolerances.
        arrays: a value for each control, all of shape (n,).
        conditions: None takes those of the device file.
    Returns:
        common and independent part.
    Source:
        variances of ln G add in a cascade: common practice; JCGM 100:2008, 5.1.2.
    """
    shape = np.broadcast_shapes(*(array.shape for array in arrays.values()))
    common, independent = 0.0, np.zeros(shape)
    for found, place in _by_stage(path, arrays, conditions or path.conditions):
        own: Term = 0.0
        for part in found:
            square = np.square(part.half_width_percent)
            if part.common:
                common += float(square)
            else:
                own = own + square
        independent += widened(own, place)
    return Spread(common_percent=common**0.5, independent_percent=np.sqrt(independent))


def _by_stage(
    path: SignalPath, arrays: Arrays, conditions: Conditions
) -> Iterator[tuple[tuple[Part, ...], npt.NDArray[np.int64] | None]]:
    """The parts of each stage with tolerances, on few values where that is enough; and how to widen them."""
    compressing = any(stage.corrections.compression_vpk is not None for stage in path.hardware())
    levels = path.stage_gains(arrays, conditions) if compressing else ()
    for number, stage in enumerate(path.hardware()):
        if stage.tolerances:
            compressed = stage.corrections.compression_vpk is not None
            few, place = (arrays, None) if compressed else narrowed(stage.law, arrays)
            input_vpk = levels[number].input_vpk if compressed else 0.0
            yield tuple(_of_stage(stage, few, input_vpk, conditions)), place


def _of_stage(stage: PathStage, arrays: Arrays, input_vpk: Term, conditions: Conditions) -> Iterator[Part]:
    known = {parameter.name: parameter for parameter in _parameters(stage)}
    slopes = {
        **sensitivities(stage.corrections, stage.law.gains_ratio(arrays), input_vpk, conditions),
        **stage.law.sensitivities(arrays, {}),
        **{parameter.name: _of_any(parameter) for parameter in SETTING},
        SCALE: 1.0,
    }
    for name, size in stage.tolerances.items():
        parameter = known.get(name)
        unit = 1.0 if parameter is None or parameter.unit == "percent" else 100.0
        slope = slopes[name]
        signed = slope * (size * unit)
        independent = parameter is not None and parameter.independent
        yield Part(
            stage=stage.name,
            parameter=name,
            half_width_percent=np.abs(signed),
            common=np.ndim(slope) == 0 and not independent,
            signed_percent=signed,
            independent=independent,
        )


def _parameters(stage: PathStage) -> tuple[Parameter, ...]:
    return (*parameters_of(stage.corrections), *stage.law.parameters(), *SETTING)


def _of_any(parameter: Parameter) -> float:
    """ln G for each unit of a parameter that every kind has."""
    return LN_PER_DB if parameter.unit == "dB" else 1.0
