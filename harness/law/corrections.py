"""What moves a stage's gain beside its controls: loading, one pole, temperature, compression."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.config import Corrections
from harness.law.stages import Arrays, Control, Parameter, Term

REFERENCE_C = 23.0
"""Temperature at which the stages of a device file have their nominal gain."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """Under which a gain is predicted."""

    frequency_hz: float
    temperature_c: float = REFERENCE_C
    fill_ratio: float = 0.75
    """Signal span over converter span."""


def factor(corrections: Corrections, gains_ratio: Term, input_vpk: Term, conditions: Conditions) -> Term:
    """By what a stage's gain differs from its nominal one.

    Args:
        corrections: of the stage.
        gains_ratio: nominal gains, V/V, any shape.
        input_vpk: level at the stage's input, V peak, same shape; used only where the stage compresses.
        conditions: frequency, temperature, fill.
    Returns:
        factor of the same shape, or one number for all.
    Source:
        divider, one pole, linear temperature coefficient, first term of a tanh: textbook; held against closed forms in
        tests/law/test_corrections.py.
    """
    found: Term = 1.0 + corrections.temperature_percent_per_k / 100.0 * (conditions.temperature_c - REFERENCE_C)
    if corrections.load_ohm is not None and corrections.source_ohm is not None:
        found = found * (corrections.load_ohm / (corrections.load_ohm + corrections.source_ohm))
    for square in _poles(corrections, gains_ratio, conditions).values():
        found = found / np.sqrt(1.0 + square)
    if corrections.compression_vpk is not None:
        found = found * (1.0 - (input_vpk / corrections.compression_vpk) ** 2 / 4.0)
    return found


def position_factor(corrections: Corrections, control: Control | None, arrays: Arrays) -> Term:
    """By what a stage's gain differs from its nominal one in some of its positions.

    Args:
        corrections: of the stage.
        control: the one with named positions; None where the stage has none.
        arrays: a value for each control, all of one shape.
    Returns:
        factor of the same shape, or 1 for all.
    Source:
        the device file: factors of a unit that its firmware does not know.
    """
    if control is None or not corrections.positions_percent:
        return 1.0
    found = np.ones(arrays[control.name].shape)
    for name, percent in corrections.positions_percent.items():
        found = np.where(arrays[control.name] == control.as_number(name), 1.0 + percent / 100.0, found)
    return found


def parameters_of(corrections: Corrections) -> tuple[Parameter, ...]:
    """Which numbers of a stage's corrections may bear a tolerance.

    Args:
        corrections: of the stage.
    Returns:
        one entry for each term that is given.
    Source:
        the device file.
    """
    given = ("source_ohm", "load_ohm", "bandwidth_hz", "gain_bandwidth_hz", "compression_vpk")
    return tuple(
        Parameter(name=name, nominal=float(value))
        for name in given
        if (value := getattr(corrections, name)) is not None
    )


def sensitivities(
    corrections: Corrections, gains_ratio: Term, input_vpk: Term, conditions: Conditions
) -> dict[str, Term]:
    """How ln of the gain moves with each number of a stage's corrections.

    Args:
        corrections: of the stage.
        gains_ratio: nominal gains, V/V.
        input_vpk: level at the stage's input, V peak.
        conditions: frequency, temperature, fill.
    Returns:
        by parameter, for each unit of relative change.
    Source:
        derivatives of `factor`; held against finite differences in tests/law/test_corrections.py.
    """
    found: dict[str, Term] = {}
    if corrections.load_ohm is not None and corrections.source_ohm is not None:
        share = corrections.source_ohm / (corrections.load_ohm + corrections.source_ohm)
        found.update(source_ohm=-share, load_ohm=share)
    for name, square in _poles(corrections, gains_ratio, conditions).items():
        found[name] = square / (1.0 + square)
    if corrections.compression_vpk is not None:
        lost = (input_vpk / corrections.compression_vpk) ** 2 / 4.0
        found["compression_vpk"] = 2.0 * lost / (1.0 - lost)
    return found


def _poles(corrections: Corrections, gains_ratio: Term, conditions: Conditions) -> dict[str, Term]:
    """(f/f_c)² of each pole."""
    found: dict[str, Term] = {}
    if corrections.bandwidth_hz is not None:
        found["bandwidth_hz"] = (conditions.frequency_hz / corrections.bandwidth_hz) ** 2
    if corrections.gain_bandwidth_hz is not None:
        found["gain_bandwidth_hz"] = (conditions.frequency_hz * gains_ratio / corrections.gain_bandwidth_hz) ** 2
    return found
