"""Many settings share few values of a control: work on the values, then spread the result over the settings."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from harness.law.stages import Arrays, StageKind, Term

WORTH_RATIO = 2
"""Settings for each value of the control from which the detour is shorter."""


def narrowed(law: StageKind, arrays: Arrays) -> tuple[Arrays, npt.NDArray[np.int64] | None]:
    """The values that a stage's control takes, where they are few.

    Args:
        law: of the stage.
        arrays: a value for each control, all of one shape.
    Returns:
        controls to work on, and where each setting's result stands among them; the controls themselves and None for a
        stage of several controls, and where there is nothing to gain.
    Source:
        none: bookkeeping.
    """
    needs = law.needs()
    if len(needs) != 1:
        return arrays, None
    values = arrays[needs[0].name]
    if values.ndim != 1 or values.size < 2 * WORTH_RATIO:
        return arrays, None
    least, most = min(int(values.min()), 0), int(values.max())
    if (most - least + 1) * WORTH_RATIO > values.size:
        return arrays, None
    return {needs[0].name: np.arange(least, most + 1)}, values if least == 0 else values - least


def widened(term: Term, place: npt.NDArray[np.int64] | None) -> Term:
    """A result for each value, for each setting.

    Args:
        term: one number for each value, or one for all.
        place: from `narrowed`.
    Returns:
        one number for each setting, or one for all.
    Source:
        none: bookkeeping.
    """
    # All places are within: "clip" only spares the check of each.
    return term if place is None or np.ndim(term) == 0 else np.take(term, place, mode="clip")
