"""W5: a step that is too perfect."""

from __future__ import annotations

import math
from collections.abc import Sequence

from harness.judge.waveform.result import SAYS_LLR, WaveformTest, decided, unmet

ARITHMETIC_PERCENT = 0.01
HARDWARE_PERCENT = 0.3
"""rms error of hardware steps: 0.1 to 1 % (common practice)."""
LARGEST_U_PERCENT = 0.03


def too_perfect(residuals_percent: Sequence[float], *, u_step_percent: float) -> WaveformTest:
    """Whether steps meet their names more exactly than hardware does.

    Args:
        residuals_percent: 100·ln(measured/named) of one or more steps of the same kind, percent.
        u_step_percent: standard uncertainty of one of them, percent, > 0.
    Returns:
        the test; one exact step never suffices, several may.
    Source:
        common practice, no source (test W5): arithmetic within 0.01 %, hardware 0.1 to 1 %.
    """
    if not u_step_percent <= LARGEST_U_PERCENT:
        return unmet("W5", f"steps are known to {u_step_percent:.3g} %; allowed is {LARGEST_U_PERCENT:g} % or less")
    if len(residuals_percent) == 0:
        return unmet("W5", "no step was measured")
    narrow, wide = math.hypot(ARITHMETIC_PERCENT, u_step_percent), math.hypot(HARDWARE_PERCENT, u_step_percent)
    llr = sum(
        math.log(narrow / wide) + 0.5 * residual**2 * (1.0 / narrow**2 - 1.0 / wide**2)
        for residual in residuals_percent
    )
    worst = max(residuals_percent, key=abs)
    needed = math.ceil(SAYS_LLR / math.log(wide / narrow))
    text = (
        f"worst of {len(residuals_percent)} steps is {worst:+.3f} % from its name (u {u_step_percent:.3g} %; "
        f"{needed} exact ones could show arithmetic)"
    )
    return decided("W5", llr, text, None)
