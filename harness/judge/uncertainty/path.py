"""What stands between the reference and the device's input: accuracy, flatness, pad, loading, temperature."""

from __future__ import annotations

import math

from harness.judge.uncertainty.checked import checked
from harness.judge.uncertainty.contribution import Contribution
from harness.judge.uncertainty.shape import Shape, trapezoid_of
from harness.values import ratio_from_db


def reading_accuracy(name: str, percent_of_reading: float, *, common: bool = True) -> Contribution:
    """How far the part of an accuracy leaves a gain open that is stated in percent of reading.

    Args:
        name: for people, such as `source, amplitude` or `meter, reading`.
        percent_of_reading: limit of error, percent, >= 0.
        common: whether one instrument on one range served all readings.
    Returns:
        rectangular, half width percent_of_reading.
    Raises:
        NotFinite: the percentage is negative or not finite.
    Source:
        JCGM 100:2008, 4.3.7: of a limit of error without further words nothing but the limits is known.
    """
    return Contribution(name=name, value_percent=percent_of_reading, shape=Shape.RECTANGULAR, common=common)


def flatness(half_width_percent: float, *, common: bool = True) -> Contribution:
    """How far the source's level at the test frequency may differ from that at its reference frequency.

    Args:
        half_width_percent: limit of the difference, percent of level, >= 0.
        common: one frequency for all readings.
    Returns:
        rectangular.
    Raises:
        NotFinite: the limit is negative or not finite.
    Source:
        as reading_accuracy.
    """
    return Contribution(name="flatness", value_percent=half_width_percent, shape=Shape.RECTANGULAR, common=common)


def pad(expanded_db: float, *, factor: float = 2.0, common: bool = True) -> Contribution:
    """How far the calibration of a pad leaves a gain open.

    Args:
        expanded_db: expanded uncertainty of its loss, dB, >= 0.
        factor: coverage factor of its certificate, > 0.
        common: one pad for all readings.
    Returns:
        normal, U/k in percent: 11.51 % a dB.
    Raises:
        NotFinite: an argument is outside its bounds.
    Source:
        JCGM 100:2008, 4.3.3; u in percent of ln is exact, for 100·ln(10^(x/20)) is linear in x.
    """
    expanded = float(checked("pad", "expanded_db", expanded_db, least=0.0))
    k = float(checked("pad", "factor", factor, least=0.0, open_at="least"))
    value = 100.0 * math.log(ratio_from_db(expanded)) / k
    return Contribution(name="pad", value_percent=value, shape=Shape.NORMAL, common=common)


def loading(
    *,
    source_ohm: float,
    load_ohm: float,
    load_tolerance_percent: float,
    source_tolerance_percent: float = 0.0,
    common: bool = True,
) -> Contribution:
    """How far the divider of source and input resistance leaves the level open.

    Args:
        source_ohm: source resistance, ohm, >= 0.
        load_ohm: what it drives, ohm, > 0.
        load_tolerance_percent: of load_ohm; 100 where the loading is not corrected at all.
        source_tolerance_percent: of source_ohm.
        common: one wiring for all readings.
    Returns:
        rectangular, or trapezoid where both resistances have a tolerance.
    Raises:
        NotFinite: an argument is outside its bounds.
    Source:
        voltage divider V = E·Rl/(Rs + Rl): d ln V = Rs/(Rs + Rl)·(d ln Rl - d ln Rs).
    """
    where = "loading"
    source = float(checked(where, "source_ohm", source_ohm, least=0.0))
    load = float(checked(where, "load_ohm", load_ohm, least=0.0, open_at="least"))
    tolerances = {
        "load_tolerance_percent": load_tolerance_percent,
        "source_tolerance_percent": source_tolerance_percent,
    }
    weight_ratio = source / (source + load)
    parts = [weight_ratio * float(checked(where, name, value, least=0.0)) for name, value in tolerances.items()]
    if sum(parts) == 0.0:
        return Contribution(name=where, value_percent=0.0, shape=Shape.RECTANGULAR, common=common)
    half_width, beta_ratio = trapezoid_of(*parts)
    shape = Shape.RECTANGULAR if beta_ratio == 1.0 else Shape.TRAPEZOID
    return Contribution(name=where, value_percent=half_width, shape=shape, beta_ratio=beta_ratio, common=common)


def temperature(*, half_width_k: float, coefficient_ppm_per_k: float, common: bool = True) -> Contribution:
    """How far an unknown temperature leaves a gain open.

    Args:
        half_width_k: how far the temperature may be from the one the law holds for, K, >= 0.
        coefficient_ppm_per_k: temperature coefficient, ppm/K, either sign.
        common: whether it is the same for all readings; False for a drift during the run.
    Returns:
        rectangular, half width the product.
    Raises:
        NotFinite: an argument is outside its bounds.
    Source:
        common practice, no source: 2 K and 50 ppm/K leave 0.01 %.
    """
    width = float(checked("temperature", "half_width_k", half_width_k, least=0.0))
    coefficient = float(checked("temperature", "coefficient_ppm_per_k", coefficient_ppm_per_k))
    value = width * abs(coefficient) * 1e-4
    return Contribution(name="temperature", value_percent=value, shape=Shape.RECTANGULAR, common=common)
