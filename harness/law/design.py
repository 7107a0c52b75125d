"""Which parameters of a law a fit may move, and how each setting depends on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.errors import UsageError
from harness.law.fitting import Model
from harness.law.gain_law import GainLaw
from harness.law.stages import Arrays, Floats, Parameter, StageKind
from harness.values import Setting

LN_K = "ln K"
"""Gain of the whole path: everything that moves all settings alike."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One parameter of a fit."""

    name: str
    """Such as `ln K`, `attenuator 1:10`, `pregain`, `code bit 3`."""
    nominal: float
    """By the device file, in its own unit; 1 for ln K."""
    weight: bool
    """Whether it is the weight of a bit."""
    tolerance_percent: float | None
    """By the device file; None where it says nothing."""
    stage: StageKind | None
    """None for ln K."""
    key: str
    """What the stage calls it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Design:
    """How ln of the gain of each setting depends on relative changes of the parameters."""

    columns: tuple[Column, ...]
    matrix: Floats
    """At nominal parameters, shape (settings, columns): 0.01 · column is the change of ln G for 1 %."""
    log_gains: Floats
    """ln of the nominal gains in codes/V, arithmetic included, shape (settings,)."""
    arrays: Arrays
    """Controls, shape (settings,)."""

    @property
    def names(self) -> tuple[str, ...]:
        """Of the columns."""
        return tuple(column.name for column in self.columns)

    def model(self) -> Model:
        """ln of the gains as a function of relative changes, exact where bit weights add before the logarithm."""
        weighted = [column.stage for column in self.columns if column.stage is not None and column.weight]
        stages = {id(stage): stage for stage in weighted}
        if not stages:
            return lambda changes: (self.log_gains + self.matrix @ changes, self.matrix)
        return lambda changes: self._with_weights(tuple(stages.values()), changes)

    def _with_weights(self, stages: tuple[StageKind, ...], changes: Floats) -> tuple[Floats, Floats]:
        matrix, values = self.matrix.copy(), self.log_gains.copy()
        plain = np.asarray([not any(column.stage is stage for stage in stages) for column in self.columns])
        values = values + self.matrix[:, plain] @ changes[plain]
        for stage in stages:
            mine = [index for index, column in enumerate(self.columns) if column.stage is stage]
            moved = {self.columns[index].key: float(changes[index]) for index in mine}
            slopes = stage.sensitivities(self.arrays, moved)
            values = values + stage.log_change(self.arrays, moved)
            for index in mine:
                matrix[:, index] = slopes[self.columns[index].key]
        return values, matrix


def design_matrix(law: GainLaw, settings: Sequence[Setting], *, bits: bool = False) -> Design:
    """How the gains of settings depend on the parameters of a law.

    The parameters are ln K, every named position but the one of gain 1 of its stage (which ln K holds), the pre-gain,
    slopes in dB, and on request the weight of every bit. A parameter on which no setting depends is left out.

    Args:
        law: of the device.
        settings: of one channel, in any order, repeats allowed.
        bits: whether the weights of bits are parameters.
    Returns:
        columns and matrix.
    Raises:
        UsageError: no settings, settings of several channels (each has parts of its own), or one that does not exist.
    Source:
        ln G = ln K + sum of terms of the stages: common practice for cascades.
    """
    channels = sorted({setting.channel for setting in settings})
    if len(channels) != 1:
        raise UsageError(f"fit of channels {channels}: allowed are settings of one channel: each has parts of its own")
    index = law.index(settings)
    arrays = {name: array[index] for name, array in law.grid.items()}
    columns = [Column(name=LN_K, nominal=1.0, weight=False, tolerance_percent=None, stage=None, key="")]
    vectors = [np.ones(index.size)]
    for stage in law.path.hardware():
        slopes = stage.law.sensitivities(arrays, {})
        for parameter in stage.law.parameters():
            if _fitted(parameter, bits=bits):
                vector = np.broadcast_to(np.asarray(slopes[parameter.name], dtype=np.float64), index.shape)
                if np.any(vector != 0.0):
                    columns.append(_column(parameter, stage.law, stage.tolerances.get(parameter.name)))
                    vectors.append(vector)
    return Design(
        columns=tuple(columns),
        matrix=np.stack(vectors, axis=1),
        log_gains=np.log(law.predict_many(index).gains_codes_per_v),
        arrays=arrays,
    )


def _fitted(parameter: Parameter, *, bits: bool) -> bool:
    return bool(parameter.fitted) and not parameter.reference and (bits or not parameter.weight)


def _column(parameter: Parameter, stage: StageKind, tolerance_percent: float | None) -> Column:
    return Column(
        name=parameter.fitted,
        nominal=parameter.nominal,
        weight=parameter.weight,
        tolerance_percent=tolerance_percent,
        stage=stage,
        key=parameter.name,
    )
