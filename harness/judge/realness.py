"""Hardware or arithmetic: what a setting and a step turned out to be, from words and code-domain gain."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from harness.values import Realness, Setting

SAME_PERCENT = 0.6
"""Gains closer than this are the same: twice the range-switch error of a source, a fifth of the smallest fine step."""


HIDDEN_PERCENT = 1.5
"""A gain that is as displayed though the word stands for so much less, or more, was helped by arithmetic."""
U_SAME_WORD_RATIO = SAME_PERCENT / 200.0
"""Of a factor between two gains of one word: half of what counts as the same."""
U_NEW_WORD_RATIO = 0.01
"""Of a factor beside a new word: two gains, each as good as the parts of the hardware are."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What is known of one setting."""

    setting: Setting
    word: int | None
    """Captured word; None where it is not known."""
    sound: bool
    """The capture can be trusted (also when it shows that no word was latched)."""
    relays: frozenset[str]
    """Relays commanded by the range."""
    gain_codes_per_v: float | None
    hardware_codes_per_v: float
    """The law's analog gain for the captured word, else for the planned one."""
    planned_codes_per_v: float
    """The law's displayed gain for the setting, arithmetic included."""
    declared_ratio: float
    """Arithmetic that the device file declares."""
    code_spacing: int
    """Common spacing of the codes seen."""
    further: tuple[int | None, ...] = ()
    """Captured words of the channel's other gain devices, in the order of the state's further words."""

    @property
    def words(self) -> tuple[int | None, ...]:
        """The words of all the channel's gain devices."""
        return (self.word, *self.further)

    @property
    def known(self) -> bool:
        """Whether each gain device is known to hold a word."""
        return None not in self.words

    @property
    def state(self) -> tuple[frozenset[str], tuple[int | None, ...]]:
        """What the hardware was told: relays and words."""
        return (self.relays, self.words)


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a setting or step turned out to be, and on what ground."""

    realness: Realness
    ratio: float
    """Arithmetic part found; 1.0 where there is none."""
    why: str
    u_ratio: float = 0.0
    """Expanded uncertainty of `ratio`, relative; 0 where it was counted, infinite where only a part's being
    arithmetic is known and not which."""


def of_settings(evidence: Sequence[Evidence]) -> Mapping[Setting, Found]:
    """What each setting of one channel is.

    Settings whose hardware was told the same (same relays, same latched word) must show the same code-domain gain; what
    is above the least of them is arithmetic.

    Args:
        evidence: all settings of one channel.
    Returns:
        one finding for each setting.
    Source:
        common practice, no source: control words decide realness, waveforms confirm.
    """
    groups: dict[tuple[frozenset[str], tuple[int | None, ...]], list[Evidence]] = {}
    for item in evidence:
        if item.known and item.gain_codes_per_v is not None:
            groups.setdefault(item.state, []).append(item)
    least = {
        state: min((item.gain_codes_per_v or math.inf) / _certain(item) for item in group)
        for state, group in groups.items()
    }
    return {
        item.setting: _of_setting(item, least.get(item.state), len(groups.get(item.state, ()))) for item in evidence
    }


def _certain(item: Evidence) -> float:
    """Arithmetic that the codes themselves prove: a declared whole factor whose comb is seen."""
    ratio = item.declared_ratio
    return ratio if ratio > 1.0 and ratio == round(ratio) and item.code_spacing == int(ratio) else 1.0


def _of_setting(item: Evidence, least: float | None, members: int) -> Found:
    if not item.sound:
        return Found(realness=Realness.UNPROVEN, ratio=1.0, why="no control word was captured")
    if not item.known:
        return Found(realness=Realness.FAULT, ratio=1.0, why="the gain device latched no word, or not always the same")
    if item.gain_codes_per_v is None or least is None:
        return Found(realness=Realness.UNPROVEN, ratio=1.0, why="no valid gain")
    ratio = item.gain_codes_per_v / least
    if 100.0 * math.log(ratio) > SAME_PERCENT:
        comb = f", every {item.code_spacing}. code used" if item.code_spacing > 1 else ""
        why = f"×{ratio:.4g} with the same word and relays{comb}"
        return Found(realness=Realness.ARITHMETIC, ratio=ratio, why=why, u_ratio=U_SAME_WORD_RATIO)
    if item.declared_ratio != 1.0 and members == 1 and _certain(item) == 1.0:
        return Found(
            realness=Realness.UNPROVEN,
            ratio=1.0,
            why="declared arithmetic, but the ladder holds no setting with the same word to compare with",
        )
    hidden = _hidden_ratio(
        item.gain_codes_per_v,
        planned=item.planned_codes_per_v,
        hardware=item.hardware_codes_per_v * item.declared_ratio,
    )
    if hidden is not None:
        why = f"the word stands for ×{1.0 / hidden:.4g} of the gain, the rest is arithmetic"
        return Found(realness=Realness.MIXED, ratio=hidden * item.declared_ratio, why=why, u_ratio=U_NEW_WORD_RATIO)
    return Found(realness=Realness.HARDWARE, ratio=1.0, why="")


def _hidden_ratio(measured: float, *, planned: float, hardware: float) -> float | None:
    """Arithmetic that makes up for another word than the planned one; None where the gain is not as displayed."""
    extra_percent = 100.0 * math.log(planned / hardware)
    as_displayed = 100.0 * abs(math.log(measured / planned)) <= HIDDEN_PERCENT / 2.0
    return math.exp(extra_percent / 100.0) if as_displayed and abs(extra_percent) > HIDDEN_PERCENT else None


def of_step(lower: Evidence, upper: Evidence) -> Found:
    """What the step between two settings is.

    Args:
        lower: the setting of less gain by the ladder's order.
        upper: its neighbour.
    Returns:
        hardware: a new state was latched and the gain moved (how far is for the step limit); arithmetic: the gain moved
        without; mixed: a new state, and another arithmetic on either side; fault: commanded but not executed; unproven:
        not enough is known.
    Source:
        common practice, no source (decision table with words).
    """
    if not (lower.sound and upper.sound):
        return Found(realness=Realness.UNPROVEN, ratio=1.0, why="no control word was captured")
    if lower.gain_codes_per_v is None or upper.gain_codes_per_v is None:
        return Found(realness=Realness.UNPROVEN, ratio=1.0, why="no valid gain on both sides")
    moved_percent = 100.0 * math.log(upper.gain_codes_per_v / lower.gain_codes_per_v)
    if not (lower.known and upper.known):
        if abs(moved_percent) <= SAME_PERCENT:
            return Found(realness=Realness.FAULT, ratio=1.0, why="no word latched and the gain did not move")
        return Found(realness=Realness.UNPROVEN, ratio=1.0, why="the gain moved, but no word was latched")
    wanted_percent = 100.0 * math.log(upper.hardware_codes_per_v / lower.hardware_codes_per_v)
    extra_ratio = math.exp((moved_percent - wanted_percent) / 100.0)
    if lower.state == upper.state:
        if abs(moved_percent) <= SAME_PERCENT:
            planned_percent = 100.0 * math.log(upper.planned_codes_per_v / lower.planned_codes_per_v)
            if abs(planned_percent) <= SAME_PERCENT:
                return Found(realness=Realness.HARDWARE, ratio=1.0, why="")
            return Found(realness=Realness.FAULT, ratio=1.0, why="neither the word nor the gain changed")
        why = "the gain moved, the word and relays did not"
        return Found(realness=Realness.ARITHMETIC, ratio=extra_ratio, why=why, u_ratio=U_SAME_WORD_RATIO)
    if abs(moved_percent) <= SAME_PERCENT < abs(wanted_percent):
        return Found(realness=Realness.FAULT, ratio=1.0, why="a new word was latched, the gain did not move")
    if lower.code_spacing != upper.code_spacing:
        comb_ratio = upper.code_spacing / lower.code_spacing
        why = f"new word, and ×{comb_ratio:.4g} beside it: every {upper.code_spacing}. code is used"
        return Found(realness=Realness.MIXED, ratio=comb_ratio, why=f"{why}, every {lower.code_spacing}. before")
    if lower.declared_ratio != upper.declared_ratio:
        why = f"new word, and ×{extra_ratio:.4g} beside it"
        return Found(realness=Realness.MIXED, ratio=extra_ratio, why=why, u_ratio=U_NEW_WORD_RATIO)
    hidden = _hidden_ratio(
        upper.gain_codes_per_v / lower.gain_codes_per_v,
        planned=upper.planned_codes_per_v / lower.planned_codes_per_v,
        hardware=upper.hardware_codes_per_v / lower.hardware_codes_per_v,
    )
    if hidden is not None:
        why = f"new word for ×{math.exp(wanted_percent / 100.0):.4g}, and ×{hidden:.4g} of arithmetic beside it"
        return Found(realness=Realness.MIXED, ratio=hidden, why=why, u_ratio=U_NEW_WORD_RATIO)
    return Found(realness=Realness.HARDWARE, ratio=1.0, why="")
