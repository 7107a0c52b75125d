"""Are corrections found where a device has them, and not claimed where it has none?

`python -m tests.learn.corrections_study --seeds 30` gives each device drawn at random a ripple, a carry, a bit that
weighs more, a pole, a range that is off, as far as it can have them, and nothing at last; then it learns and counts.
"""

from __future__ import annotations

import argparse
import math
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from harness.learn.explain.corrections import size_of
from harness.learn.explain.terms import TermKind
from tests.learn.random_truth import Truth
from tests.learn.session import Session, learned

IN_DB = ("linear-in-db", "step-attenuator")
LEAST_EACH = 4
"""Codes on either side of a step that must be used before it is asked for."""
ENOUGH_CODES = 12
"""A sine of which no period is known needs so many different codes."""


@dataclass(frozen=True)
class Answer:
    """What was said of one device."""

    seed: int
    departs: str
    found: tuple[str, ...]
    """Kinds of the corrections that were taken."""
    away: float
    """Size of the first minus the true one, in stated standard uncertainties; NaN where it is of another kind."""
    left_percent: float
    refused: str

    @property
    def right(self) -> bool:
        """Whether the kind is the true one; carry and weight of one bit are the same story told twice."""
        if not self.departs:
            return not self.found
        alike = {"carry", "weight"}
        return bool(self.found) and (self.found[0] == self.departs or {self.found[0], self.departs} == alike)


def can_have(truth: Truth) -> Iterator[str]:
    """What a device can have so that its settings show it."""
    codes = truth.used_codes
    sent = (truth.firmware(coarse, fine) for coarse in range(len(truth.combos)) for fine in range(truth.fine))
    plain = {code for code, pregain in sent if not pregain}  # a pre-gain that comes in with the bit would hide it
    split = sum(code >> truth.stepping_bit & 1 for code in plain)
    steps = min(split, len(plain) - split) >= LEAST_EACH
    if truth.kind in IN_DB and len(codes) >= ENOUGH_CODES:
        yield "ripple"
    if steps:
        yield "carry"
    if steps and truth.kind not in IN_DB:
        yield "weight"
    if truth.kind != "step-attenuator" and len(codes) >= ENOUGH_CODES:
        yield "pole"
    states = [state for state, _ in truth.combos]
    if states.count(states[1] if len(states) > 1 else -1) >= 4 and truth.range_bits == 2:
        yield "range"


def answer(seed: int, departs: str) -> Answer:
    """Learn one device and hold its corrections against the truth."""
    session = learned(seed, departs)
    found = session.explained.corrected
    steps = () if found is None else found.steps
    kinds = tuple("range" if isinstance(step.what, int) else str(step.what.kind) for step in steps)
    law = session.explained.law
    return Answer(
        seed=seed, departs=departs, found=kinds, away=_away(session) if kinds[:1] == (departs,) else math.nan,
        left_percent=math.nan if law is None else 100.0 * law.scatter_ratio,
        refused="gains follow their names" if found is None else found.refused,
    )  # fmt: skip


def _away(session: Session) -> float:
    truth, explained = session.truth, session.explained
    if truth.departs == "range":
        one = next(iter(explained.states.factors.values()))
        if one.coarse != 1:  # two ranges may be off against each other: which one, no gain tells
            return math.nan
        return (one.log - math.log1p(truth.departure["step"])) / one.u_log
    term, (size, u) = explained.law.hypothesis.terms[0], size_of(explained.law, 0)
    true = {
        TermKind.RIPPLE: truth.departure["ripple"], TermKind.CARRY: math.log1p(truth.departure["step"]),
        TermKind.WEIGHT: 2.0 * truth.departure["step"],
    }.get(term.kind, math.nan)  # fmt: skip
    return (size - true) / u


def main() -> int:
    """A line for each device, then the counts; 1 where too few are found or anything is claimed wrongly."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=30)
    parser.add_argument("--first", type=int, default=1)
    asked = parser.parse_args()
    began = time.perf_counter()
    right, all_, other = Counter[str](), Counter[str](), Counter[str]()
    for seed in range(asked.first, asked.first + asked.seeds):
        truth = Truth(seed)
        for departs in (*can_have(truth), ""):
            one = answer(seed, departs)
            name = departs or "nothing"
            all_[name] += 1
            right[name] += one.right
            other[name] += bool(one.found) and not one.right
            print(
                f"{seed:4}  {truth.kind:<15} has {name:<8} found {', '.join(one.found) or 'nothing':<20} "
                f"{'' if one.right else 'NO':<3} away {one.away:5.1f} u  left {one.left_percent:.2g} %  {one.refused}",
                flush=True,
            )
    for name, count in all_.items():
        print(f"{name:<8} right in {right[name]} of {count}, called something else in {other[name]}")
    print(f"{time.perf_counter() - began:.0f} s")
    found = sum(right.values()) - right["nothing"]
    return 1 if other["nothing"] or found < 0.8 * (sum(all_.values()) - all_["nothing"]) else 0


if __name__ == "__main__":
    raise SystemExit(main())
