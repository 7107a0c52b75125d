"""Corrections on gains by closed forms, and on devices drawn at random (`python -m tests.learn.corrections_study`)."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from harness.config import SettingsFile, validate
from harness.learn import Explained, Observed, Rule, draft_of, explain, find_rule, proposed_limits_text
from harness.learn.account import laws_of
from harness.learn.account_facts import facts
from harness.learn.explain.shapes import Shape
from harness.learn.explain.terms import Term, TermKind
from harness.learn.readings import Gathered
from harness.learn.write.correction_keys import told_corrections
from harness.learn.write.path_parts import stage_parts
from harness.values import ControlWord, Setting
from tests.learn.corrections_study import answer
from tests.learn.random_truth import Truth
from tests.learn.session import settings_of

DATE = datetime.date(2026, 11, 30)
CODES = range(40, 124, 3)
FREQUENCY_HZ = 1000.0


def observed(gain: Callable[[int], float], *, noise: float = 0.0) -> list[Observed]:
    """Four ranges with one number in 7 bits, told apart by relays that no word shows."""
    rng = np.random.default_rng(5)
    return [
        Observed(
            setting=Setting(1, coarse, k), words=(ControlWord("latch", 7, code),),
            gain_codes_per_v=gain(code) * 10.0**coarse * (1.0 + noise * rng.normal()),
        )
        for coarse in range(4) for k, code in enumerate(CODES)
    ]  # fmt: skip


def in_db(code: int) -> float:
    return 2.0 * 10.0 ** (0.25 * code / 20.0)


def rippled(code: int) -> float:
    return in_db(code) * (1.0 + 0.008 * math.sin(2.0 * math.pi * code / 37.0 + 0.7))


def settings(**changes: Any) -> SettingsFile:
    tables = settings_of(Truth(11)).model_dump(exclude_unset=True) | {"channels": 1}
    tables["coarse"] = [{"name": name, "value": float(k)} for k, name in enumerate(("a", "b", "c", "d"))]
    tables["fine"] = {"first_db": 0.0, "last_db": 20.0, "count": len(CODES)}
    tables["acquisition"] = {"sample_rate_hz": 100.0 * FREQUENCY_HZ, "samples": 10000, "cycles": 100}
    return validate(SettingsFile, tables | changes, file="settings")


def rule_of(found: Explained) -> Rule:
    return find_rule(found, draft_of(found, settings(), None, date=DATE, owner="x"))


def number_of(found: Explained) -> dict[str, Any]:
    return dict(rule_of(found).draft.stages[-1].keys)


def kinds(found: Explained) -> list[str]:
    return [str(step.what.kind) if isinstance(step.what, Term) else "range" for step in found.corrected.steps]


def test_a_ripple_is_found_with_period_and_phase_and_written_into_the_stage() -> None:
    found = explain(observed(rippled))
    assert kinds(found) == ["ripple"]
    keys = number_of(found)
    assert keys["ripple_db"] == pytest.approx(20.0 * math.log10(1.008), rel=0.01)
    assert keys["ripple_period_code"] == pytest.approx(37.0, rel=0.003)
    assert math.radians(keys["ripple_phase_deg"]) == pytest.approx(0.7, abs=0.03)
    law = rule_of(found).law
    for one in found.seen.settings:
        wanted = rippled(CODES[one.fine]) * 10.0**one.coarse
        assert law.predict(one).gain_codes_per_v == pytest.approx(wanted, rel=2e-4)


@pytest.mark.parametrize("kind", ["carry", "weight", "pole"])
def test_what_a_number_does_beside_its_law_is_found_and_foretold_by_the_file(kind: str) -> None:
    """Bit 6 comes in at 64; the pole loses 2 % at code 120."""
    strength = 1.0 / 0.98**2 - 1.0

    def gain(code: int) -> float:
        set_ = code >> 6 & 1
        return {
            "carry": 3.0 * code * (1.0 + 0.007 * set_), "weight": 3.0 * (code + 64.0 * 0.009 * set_),
            "pole": 3.0 * code / math.sqrt(1.0 + strength * (code / 120.0) ** 2),
        }[kind]  # fmt: skip

    found = explain(observed(gain))
    assert kinds(found) == [kind]
    keys = number_of(found)
    if kind == "pole":
        codes_per_v = settings().converter.codes_per_v
        wanted_hz = FREQUENCY_HZ * 3.0 * 120.0 / codes_per_v / math.sqrt(strength)
        assert keys["corrections"]["gain_bandwidth_hz"] == pytest.approx(wanted_hz, rel=1e-3)
    else:
        assert keys[f"{kind}_percent"] == {"bit_6": pytest.approx({"carry": 0.7, "weight": 0.9}[kind], rel=0.01)}
    law = rule_of(found).law
    for one in found.seen.settings:
        wanted = gain(CODES[one.fine]) * 10.0**one.coarse
        assert law.predict(one).gain_codes_per_v == pytest.approx(wanted, rel=2e-4)


def test_a_range_that_is_off_by_itself_becomes_a_position_whose_factor_the_firmware_does_not_know() -> None:
    found = explain([
        Observed(
            setting=Setting(1, c, k), words=(ControlWord("latch", 9, bits << 7 | code),),
            gain_codes_per_v=3.0 * code * ratio * (1.005 if c == 2 else 1.0),
        )
        for c, (bits, ratio) in enumerate(((0, 1.0), (0, 1.0 + 1e-9), (0, 1.0), (1, 5.0)))
        for k, code in enumerate(CODES)
    ])  # fmt: skip
    assert kinds(found) == ["range"]
    assert found.states.state_of == {0: 0, 1: 0, 2: 1, 3: 0}
    (factor,) = found.states.factors.values()
    assert math.expm1(factor.log) == pytest.approx(0.005, rel=1e-3)
    (told,) = told_corrections(found, ("a", "b", "c", "d"))
    assert told.text.startswith("range c has +0.5 ± ")
    unseen = stage_parts(found, codes_per_v=2000.0, frequency_hz=1.0)[0]
    assert unseen.keys["ratios"] == {"state-0": 1.0, "state-1": 1.0}
    assert unseen.keys["corrections"] == {"positions_percent": {"state-1": pytest.approx(0.5, rel=1e-3)}}


def test_ranges_are_scaled_as_firmware_reckons_without_what_it_does_not_know() -> None:
    found = rule_of(explain(observed(rippled))).draft.ranges
    scales = [4096.0 / (in_db(CODES[0]) * 10.0**coarse) for coarse in range(4)]
    assert [part.full_scale_vpp for part in found] == pytest.approx(scales, rel=5e-4)


def test_gains_without_words_may_ripple_but_have_no_bits() -> None:
    found = explain([
        Observed(setting=Setting(1, c, k), gain_codes_per_v=10.0**c * rippled(4 * k))
        for c in range(3) for k in range(30)
    ])  # fmt: skip
    assert kinds(found) == ["ripple"]
    assert found.law.hypothesis.terms[0].period_code == pytest.approx(37.0 / 4.0, rel=0.003)
    assert "fine positions; asked for" in next(told_corrections(found)).text


def test_a_law_that_leaves_what_a_source_leaves_is_not_corrected() -> None:
    found = explain(observed(in_db, noise=3e-4))
    assert kinds(found) == []
    assert "which asks for none" in found.corrected.refused


def test_noise_asks_for_nothing_and_the_nearest_is_named() -> None:
    found = explain(observed(in_db, noise=3e-3))
    assert kinds(found) == []
    assert "the criterion falls by" in found.corrected.refused
    assert "asked for from 10" in found.corrected.refused


def test_corrections_stand_on_the_page_and_in_the_proposal_with_their_uncertainty() -> None:
    found = explain(observed(rippled, noise=2e-4))
    rule = rule_of(found)
    gathered = Gathered(observed=tuple(observed(rippled)), waves={}, unread=(), unheard=())
    told = [fact for fact in facts(gathered, found, rule, settings()) if fact.text.startswith("Ripple of ±0.06")]
    assert [fact.sure for fact in told] == ["likely"]
    assert "asked for: the criterion falls by" in told[0].text
    assert any(note.startswith("ripple of ±0.06") for note in rule.draft.stages[-1].notes)
    text = proposed_limits_text(found, name="box", date=DATE, owner="x", made_by="made here")
    assert "# Of the law: ripple of ±0.06" in text
    assert "its corrections are uncertain by" in text


@pytest.mark.parametrize(
    ("term", "shape", "log"),
    [
        (Term(kind=TermKind.CARRY, bit=3), Shape.LINEAR_CODE, math.log(1.004)),
        (Term(kind=TermKind.WEIGHT, bit=3), Shape.MDAC_FEEDBACK, -math.log((12.0 + 8.0 * 0.004) / 12.0)),
        (Term(kind=TermKind.POLE, strength=0.004), Shape.LINEAR_CODE, -0.5 * math.log(1.0 + 0.004 * 144.0)),
        (Term(kind=TermKind.POLE, slope=-0.1), Shape.LINEAR_IN_DB, -0.5 * 0.004 * math.exp(-2.4)),
    ],
)
def test_columns_by_hand(term: Term, shape: Shape, log: float) -> None:
    assert 0.004 * term.columns(shape, np.asarray([12]))[0, 0] == pytest.approx(log, rel=3e-3)


@pytest.mark.parametrize(
    ("seed", "departs"), [(19, "ripple"), (7, "carry"), (6, "weight"), (29, "pole"), (4, "range"), (20, "")]
)
def test_a_correction_of_a_device_drawn_at_random(seed: int, departs: str) -> None:
    one = answer(seed, departs)
    assert one.right, one
    assert math.isnan(one.away) or abs(one.away) < 4.0


def test_the_laws_that_competed_end_with_the_corrected_one() -> None:
    found = explain(observed(rippled))
    first, *others = laws_of(found)
    assert (first.shape, first.chosen) == ("linear-in-db, corrected", True)
    (step,) = found.corrected.steps
    assert first.left_out_percent == pytest.approx(100.0 * step.after_ratio)
    plain = next(one for one in others if one.shape == "linear-in-db")
    assert plain.behind - first.behind == pytest.approx(step.drop)
    assert not any(one.chosen for one in others)
    assert min(one.behind for one in (first, *others)) == 0.0
