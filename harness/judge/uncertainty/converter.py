"""What converter and displays leave open: non-linearity and resolution."""

from __future__ import annotations

from harness.judge.uncertainty.checked import Floats, checked, same_length
from harness.judge.uncertainty.ladder import Groups, Series
from harness.judge.uncertainty.shape import Shape


def nonlinearity(amplitude_code: Floats, *, inl_code: float) -> Series:
    """How far the converter's integral non-linearity can pull a gain.

    Args:
        amplitude_code: shape (n,), code steps peak, > 0.
        inl_code: largest departure from the straight line, code steps, >= 0.
    Returns:
        rectangular, half width inl_code over the signal's span 2·A.
    Raises:
        NotFinite: an argument is outside its bounds.
    Source:
        common practice, no source: 0.5 of a span of 192 code steps is 0.26 %, a standard uncertainty of 0.15 %.
    """
    where = "converter non-linearity"
    amplitude = checked(where, "amplitude_code", amplitude_code, least=0.0, open_at="least")
    inl = checked(where, "inl_code", inl_code, least=0.0)
    return Series(name=where, values_percent=100.0 * inl / (2.0 * amplitude), shape=Shape.RECTANGULAR)


def resolution(name: str, level_v: Floats, *, step_v: Floats) -> Series:
    """How far the last digit of a set or displayed level leaves it open.

    Args:
        name: for people, such as `source, resolution`.
        level_v: shape (n,), V, peak or rms, > 0.
        step_v: shape (n,), the least step of the level, in the same sense, >= 0.
    Returns:
        rectangular, half width half a step.
    Raises:
        NotFinite: an argument is outside its bounds.
        MeasureError: the arrays differ in length.
    Source:
        JCGM 100:2008, F.2.2.1.
    """
    level = checked(name, "level_v", level_v, least=0.0, open_at="least")
    step = checked(name, "step_v", step_v, least=0.0)
    same_length(name, level_v=level, step_v=step)
    return Series(name=name, values_percent=50.0 * step / level, shape=Shape.RECTANGULAR)


def range_term(
    name: str, level_v: Floats, *, range_v: Floats, percent_of_range: float, groups: Groups | None = None
) -> Series:
    """How far the part of an accuracy leaves a level open that is stated in percent of range.

    Args:
        name: for people, such as `meter, range`.
        level_v: shape (n,), V, peak or rms, > 0.
        range_v: shape (n,), the range in use, in the same sense, > 0.
        percent_of_range: limit of error, percent of range, >= 0.
        groups: shape (n,): readings of one number were taken on one range and share its error; None: each its own.
    Returns:
        rectangular, half width percent_of_range·range/level.
    Raises:
        NotFinite: an argument is outside its bounds.
        MeasureError: the arrays differ in length.
    Source:
        common practice, no source: data sheets state (percent of reading + percent of range) as limits.
    """
    level = checked(name, "level_v", level_v, least=0.0, open_at="least")
    full = checked(name, "range_v", range_v, least=0.0, open_at="least")
    share = checked(name, "percent_of_range", percent_of_range, least=0.0)
    same_length(name, level_v=level, range_v=full)
    return Series(name=name, values_percent=share * full / level, shape=Shape.RECTANGULAR, groups=groups)
