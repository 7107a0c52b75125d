"""How many units pass, on average, before a chart of a process gives an alarm: exact, by Markov chains."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from harness.judge.uncertainty.checked import checked

EDGES = (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
"""Borders of the zones, in standard deviations."""
SIDE = 8
"""Points in a row on one side of the mean that are an alarm."""
_CELLS = 201

Zones = tuple[int, ...]
"""Zone of each of the last points, newest last: -3 to 3 without 0; 1 is within one deviation above the mean."""


@cache
def ewma_run_length(weight_ratio: float, width: float, *, shift: float = 0.0) -> float:
    """Mean number of points until an exponentially weighted mean leaves its limits.

    Args:
        weight_ratio: lambda, weight of the newest point, above 0 to 1.
        width: L, half width of the steady limits in standard deviations of the weighted mean, > 0.
        shift: of the mean of all points, in standard deviations of a point.
    Returns:
        the average run length, >= 1, begun at the mean, for independent normal points of known mean and deviation.
    Raises:
        NotFinite: a number is outside its bounds.
    Source:
        Lucas and Saccucci, Technometrics 32, 1990: the weighted mean in cells, as a Markov chain (Brook and Evans,
        Biometrika 59, 1972).
    """
    where = "EWMA run length"
    weight = float(checked(where, "weight_ratio", weight_ratio, least=0.0, most=1.0, open_at="least"))
    limit = float(checked(where, "width", width, least=0.0, open_at="least")) * (weight / (2.0 - weight)) ** 0.5
    moved = float(checked(where, "shift", shift))
    import numpy as np
    from scipy.special import ndtr

    edges = np.linspace(-limit, limit, _CELLS + 1)
    middles = (edges[1:] + edges[:-1]) / 2.0
    # From each cell's middle: the point that brings the weighted mean to each edge.
    points = (edges[None, :] - (1.0 - weight) * middles[:, None]) / weight - moved
    stays = np.diff(ndtr(points), axis=1)
    lengths = np.linalg.solve(np.eye(_CELLS) - stays, np.ones(_CELLS))
    return float(lengths[_CELLS // 2])


@cache
def zones_run_length(*, two_of_three: bool, four_of_five: bool, eight: bool, shift: float = 0.0) -> float:
    """Mean number of points until a rule of zones gives an alarm; one point beyond three deviations always does.

    Args:
        two_of_three: also two of three points beyond two deviations on one side.
        four_of_five: also four of five points beyond one deviation on one side.
        eight: also eight points in a row on one side.
        shift: of the mean of all points, in standard deviations of a point.
    Returns:
        the average run length, >= 1, for independent normal points of known mean and deviation.
    Raises:
        NotFinite: the shift is NaN or infinite.
    Source:
        Champ and Woodall, Technometrics 29, 1987: the last points as states of a Markov chain.
    """
    moved = float(checked("zones run length", "shift", shift))
    import numpy as np
    from scipy.sparse import csr_array, identity
    from scipy.sparse.linalg import spsolve
    from scipy.special import ndtr

    chances = np.diff(ndtr(np.asarray(EDGES) - moved))
    following = dict(zip((-3, -2, -1, 1, 2, 3), chances.tolist(), strict=True))
    keeps = _memory(two_of_three=two_of_three, four_of_five=four_of_five)
    start: tuple[Zones, int] = ((), 0)
    numbers, waiting = {start: 0}, [start]
    rows, columns, values = [], [], []
    for state in waiting:  # grows while it is walked
        for zone, chance in following.items():
            seen, side = (*state[0], zone), _side(state[1], zone)
            if zone_alarm(seen, side, two_of_three=two_of_three, four_of_five=four_of_five, eight=eight):
                continue
            new = (keeps(seen), side if eight else 0)
            if new not in numbers:
                numbers[new] = len(numbers)
                waiting.append(new)
            rows.append(numbers[state])
            columns.append(numbers[new])
            values.append(chance)
    stays = csr_array((values, (rows, columns)), shape=(len(numbers), len(numbers)))
    lengths = spsolve((identity(len(numbers)) - stays).tocsc(), np.ones(len(numbers)))
    return float(np.atleast_1d(lengths)[0])


def zone_alarm(zones: Zones, side: int, *, two_of_three: bool, four_of_five: bool, eight: bool) -> bool:
    """Whether the newest of some points inside three deviations gives an alarm by a rule of zones.

    Args:
        zones: of up to the last five points, newest last.
        side: how many points in a row, the newest included, lie on its side of the mean; negative below.
        two_of_three, four_of_five, eight: which rules are asked.
    Returns:
        True where one of them is broken by the newest point.
    Source:
        Champ and Woodall, Technometrics 29, 1987.
    """
    sign = 1 if zones[-1] > 0 else -1
    beyond = [sign * zone for zone in zones]
    if two_of_three and beyond[-1] >= 3 and sum(zone >= 3 for zone in beyond[-3:]) >= 2:
        return True
    if four_of_five and beyond[-1] >= 2 and sum(zone >= 2 for zone in beyond[-5:]) >= 4:
        return True
    return eight and abs(side) >= SIDE


def _memory(*, two_of_three: bool, four_of_five: bool) -> Callable[[Zones], Zones]:
    """What must be known of the last points; so few states are left that no rule can tell apart."""
    length = 4 if four_of_five else 2 if two_of_three else 0
    least = 2 if four_of_five else 3

    def kept(seen: Zones) -> Zones:
        # Points nearer the mean than any rule asks are alike.
        return tuple(zone if abs(zone) >= least else 0 for zone in seen[-length:]) if length else ()

    return kept


def _side(before: int, zone: int) -> int:
    if zone > 0:
        return before + 1 if before > 0 else 1
    return before - 1 if before < 0 else -1
