"""Which rungs of a ladder are its anchors."""

from __future__ import annotations

from collections.abc import Sequence

from harness.config import Anchors
from harness.errors import ConfigError, Problem
from harness.values import Rung


def anchor_rungs(
    anchors: Anchors, rungs: Sequence[Rung], coarse_names: Sequence[str], *, file: str
) -> tuple[Rung, ...]:
    """The rung that each anchor of a job stands for.

    Args:
        anchors: of the job.
        rungs: its ladder.
        coarse_names: names of the device's ranges.
        file: the job file's name, for messages.
    Returns:
        the first rung of each anchor's setting.
    Raises:
        ConfigError: an anchor is no setting of the ladder: its level would be nobody's plan.
    """
    places = {(r.setting.channel, coarse_names[r.setting.coarse], r.setting.fine): r for r in rungs[::-1]}
    found: list[Rung] = []
    problems: list[Problem] = []
    for index, anchor in enumerate(anchors.setting):
        rung = places.get((anchor.channel, anchor.coarse, anchor.fine))
        if rung is None:
            got = f"channel {anchor.channel}, {anchor.coarse}, fine {anchor.fine}"
            problems.append(
                Problem(file=file, key=f"anchors.setting[{index}]", got=got, allowed="a setting that the ladder visits")
            )
        else:
            found.append(rung)
    if problems:
        raise ConfigError(tuple(problems))
    return tuple(found)
