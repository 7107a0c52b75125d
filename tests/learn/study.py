"""How well unknown devices are learned: `python -m tests.learn.study --seeds 30` draws devices and counts.

Law kind, word layout where the settings move every bit, predicted gains of settings that were left out of the fit, and
arithmetic; the truth is tests/learn/random_truth.py, which shares nothing with harness/law.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass

import numpy as np

from harness.learn import Moves
from harness.values import Realness
from tests.learn.session import Session, held_out, learned

SAME_SHAPE = {
    "linear-code": "linear-code", "mdac-feedback": "mdac-feedback", "linear-in-db": "linear-in-db",
    "step-attenuator": "linear-in-db",
}  # fmt: skip
"""The law that a true kind must be called: a step attenuator is linear in dB."""


@dataclass(frozen=True)
class Score:
    """One device."""

    seed: int
    kind: str
    called: str
    layout: str
    """exact, wrong, or not exercised."""
    errors: np.ndarray
    """Of predictions over their stated standard uncertainty."""
    arithmetic_found: bool
    arithmetic_claimed: bool
    """Whether any setting is called arithmetic that is not."""
    words: tuple[int, int]
    """Words that the written device file sends, of those seen."""


def score(seed: int) -> Score:
    """Learn one device and hold the answer against its truth."""
    session = learned(seed)
    truth, explained = session.truth, session.explained
    parts = list(zip(explained.seen.settings, explained.parts, strict=True))
    true = {setting for setting, _ in parts if truth.arithmetic_ratio(setting.coarse) != 1.0}
    found = {
        setting
        for setting, part in parts
        if part.realness is Realness.ARITHMETIC
        and abs(part.ratio / truth.arithmetic_ratio(setting.coarse) - 1.0) < 0.01
    }
    claimed = {setting for setting, part in parts if part.realness in (Realness.ARITHMETIC, Realness.MIXED)}
    law = explained.law
    return Score(
        seed=seed, kind=truth.kind, called="" if law is None else str(law.hypothesis.shape), layout=layout_of(session),
        errors=held_out(session), arithmetic_found=true <= found, arithmetic_claimed=bool(claimed - true),
        words=(session.rule.right, session.rule.seen),
    )  # fmt: skip


def layout_of(session: Session) -> str:
    """Whether the code stands where it does: exactly, where all its bits moved; else what moved of it."""
    law, moves = session.explained.law, session.explained.movement.bits
    if law is None:
        return "wrong"
    start = 0
    for field in session.truth.fields:
        if field.name == "code":
            break
        start += field.bits
    true = range(start, start + field.bits)
    found = law.hypothesis.field
    if all(moves[place] is not Moves.NEVER for place in true):
        same = (found.start, found.bits, found.least_first) == (start, field.bits, field.least_first)
        return "exact" if same else "wrong"
    moved = [place for place in true if moves[place] is not Moves.NEVER]
    inside = set(moved) <= set(found.places) and set(found.places) <= set(true)
    return "not exercised" if inside and found.least_first == field.least_first else "wrong"


def main() -> int:
    """Print a row for each device and the counts; 1 when a count falls short of what is asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=30)
    parser.add_argument("--first", type=int, default=1)
    asked = parser.parse_args()
    began = time.perf_counter()
    scores = []
    for seed in range(asked.first, asked.first + asked.seeds):
        one = score(seed)
        scores.append(one)
        within = float(np.mean(np.abs(one.errors) < 3.0)) if one.errors.size else float("nan")
        print(
            f"{one.seed:4}  {one.kind:<15} {one.called:<13} {one.layout:<13} words {one.words[0]}/{one.words[1]:<4} "
            f"left out {one.errors.size:4}, within 3 u {within:6.1%}  arithmetic "
            f"{'found' if one.arithmetic_found else 'MISSED'}{', CLAIMED WRONGLY' if one.arithmetic_claimed else ''}",
            flush=True,
        )
    kinds = sum(SAME_SHAPE[one.kind] == one.called for one in scores)
    errors = np.concatenate([one.errors for one in scores])
    within = float(np.mean(np.abs(errors) < 3.0))
    wrong = sum(one.layout == "wrong" for one in scores)
    missed = sum(not one.arithmetic_found for one in scores)
    claimed = sum(one.arithmetic_claimed for one in scores)
    exercised = sum(one.layout == "exact" for one in scores)
    print(
        f"law kind right in {kinds} of {len(scores)}; layout exact in {exercised}, wrong in {wrong}, the rest not "
        f"exercised; "
        f"{within:.1%} of {errors.size} gains left out within 3 u; arithmetic missed in {missed}, claimed wrongly in "
        f"{claimed}; {time.perf_counter() - began:.0f} s"
    )
    short = kinds < round(28 / 30 * len(scores)) or wrong or within < 0.95 or missed or claimed
    return 1 if short else 0


if __name__ == "__main__":
    raise SystemExit(main())
