"""Rows of a limits file: scope, rule, what they need, and what a number comes to under each rule."""

import datetime as dt

import pytest

from harness.config import Coarse, LimitItem, LimitsFile, parse
from harness.errors import ConfigError, NotFinite
from harness.judge import LimitSet, build, hardware_underneath
from harness.judge.limits import decide, fails, judge_number
from harness.values import Outcome, Setting

HEAD = 'kind = "limits"\nversion = 2\nname = "n"\nrule = "managed"\n'
CHANGE = '[[change]]\nversion = 2\ndate = 2026-01-01\nowner = "o"\nreason = "r"\n'
RANGES = ("20V", "10V", "5V")


def row(**keys: object) -> str:
    words = {"item": "gain", "unit": "percent", "low": -2.0, "high": 2.0, "owner": "o", "reason": "r", **keys}
    return "[[limit]]\n" + "".join(f"{k} = {v!r}\n" for k, v in words.items() if v is not None)


def rows(*texts: str) -> LimitSet:
    limits = parse(LimitsFile, HEAD + CHANGE + "".join(texts), file="l.toml")
    return build(limits, file="l.toml", channels=2, coarse_names=RANGES)


def item(rule: str, **keys: float) -> LimitItem:
    return LimitItem(item="gain", low=-2.0, high=2.0, unit="percent", rule=rule, owner="o", reason="r", **keys)  # type: ignore[arg-type]


def test_a_row_takes_the_files_rule_unless_it_has_its_own() -> None:
    found = rows(row(), row(item="residual", rule="simple"))
    assert found["gain"].rule == "managed"
    assert found["residual"].rule == "simple"
    assert sorted(found) == ["gain", "residual"]
    assert len(found) == 2


def test_a_row_says_when_it_was_changed() -> None:
    found = parse(LimitsFile, HEAD + CHANGE + row(version=1) + "date = 2025-12-31\n", file="l.toml").limit[0]
    assert (found.version, found.date) == (1, dt.date(2025, 12, 31))


def test_a_scoped_row_holds_before_the_one_for_everywhere() -> None:
    found = rows(row(), row(coarse=["5V"], high=3.0), row(coarse=["10V"], channels=[2], high=4.0))
    highs = {
        (channel, coarse): found.at("gain", Setting(channel, coarse, 0)).high  # type: ignore[union-attr]
        for channel in (1, 2)
        for coarse in range(3)
    }
    assert highs == {(1, 0): 2.0, (1, 1): 2.0, (1, 2): 3.0, (2, 0): 2.0, (2, 1): 4.0, (2, 2): 3.0}


def test_an_arithmetic_range_is_held_to_the_hardware_underneath() -> None:
    ranges = (
        Coarse(name="20V", full_scale_vpp=20.0, controls={"attenuator": "1:10"}),
        Coarse(name="10V", full_scale_vpp=10.0, controls={"attenuator": "1:1"}),
        Coarse(name="5V", full_scale_vpp=5.0, controls={"attenuator": "1:1"}, arithmetic_ratio=2.0),
        # Another attenuator than the range of twice its full scale: nothing stands underneath.
        Coarse(name="2.5V", full_scale_vpp=2.5, controls={"attenuator": "1:1"}, arithmetic_ratio=2.0),
    )
    below = hardware_underneath(ranges)
    assert {index: (one.coarse, one.arithmetic_ratio) for index, one in below.items()} == {2: (1, 2.0)}
    tight, noise = {"coarse": ["10V"], "high": 1.0}, {"item": "noise", "low": None, "unit": "codes rms"}
    texts = (row(), row(**tight), row(**noise, high=9.0), row(**{**noise, **tight}, guard=0.1, rule="guarded"))  # type: ignore[arg-type]
    limits = parse(LimitsFile, HEAD + CHANGE + "".join(texts), file="l.toml")
    plain = build(limits, file="l.toml", channels=2, coarse_names=RANGES)
    found = build(limits, file="l.toml", channels=2, coarse_names=RANGES, underneath=below)
    for name, there, above in (("gain", 1.0, 1.0), ("noise", 1.0, 2.0)):
        highs = [found.at(name, Setting(1, coarse, 0)).high for coarse in range(3)]  # type: ignore[union-attr]
        assert highs[1:] == [there, above]
        assert highs[0] == plain.at(name, Setting(1, 2, 0)).high == plain[name].high  # type: ignore[union-attr]
    above = found.at("noise", Setting(2, 2, 0))
    assert above is not None
    assert (above.low, above.guard) == (None, 0.2)
    # A row of its own comes first.
    own = rows(row(), row(**tight), row(coarse=["5V"], high=3.0))
    assert own.at("gain", Setting(1, 2, 0)).high == 3.0  # type: ignore[union-attr]


def test_outside_every_scope_nothing_is_required() -> None:
    found = rows(row(channels=[2]))
    assert "gain" in found
    assert found["gain"].channels == (2,)
    assert found.at("gain", Setting(1, 0, 0)) is None
    assert found.at("residual", Setting(1, 0, 0)) is None


@pytest.mark.parametrize(
    ("one", "other"),
    [({}, {}), ({"channels": [1]}, {"coarse": ["5V"]}), ({"channels": [1, 2]}, {"channels": [2]})],
)
def test_rows_that_hold_at_the_same_place_are_an_error(one: dict[str, object], other: dict[str, object]) -> None:
    with pytest.raises(ConfigError, match="do not overlap"):
        rows(row(**one), row(**other))


def test_a_scope_outside_the_device_is_an_error_with_what_there_is() -> None:
    with pytest.raises(ConfigError) as caught:
        rows(
            row(channels=[0, 2, 3]),
            row(item="residual", coarse=["50V"]),
            row(item="parameter", parameter="pregain", coarse=["5V"]),
        )
    found = {p.key: (p.got, p.allowed) for p in caught.value.problems}
    assert found["limit[0].channels"] == ("0, 3", "1 to 2")
    assert found["limit[1].coarse"] == ("'50V'", "ranges of the device: 20V, 10V, 5V")
    assert found["limit[2].coarse"] == ("ranges", "none: a parameter belongs to a whole channel")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (row(version=3), "limit[0].version at most 2"),
        (row(guard=0.1), "limit[0].guard only with the rule 'guarded'"),
        (row(rule="simple", share=0.5), "limit[0].share only with the rule 'guard-band'"),
        (row(channels=[1, 1]), "each of them once"),
        (row(rule="best"), "rule"),
    ],
)
def test_a_row_that_cannot_be_meant_is_an_error(text: str, said: str) -> None:
    with pytest.raises(ConfigError) as caught:
        parse(LimitsFile, HEAD + CHANGE + text, file="l.toml")
    assert said in str(caught.value)


# Closed forms of the guard bands: T = 2, U = 0.5, TUR 4: simple 0; guarded as stated; r·U; managed
# U·(1.04 - e^(0.38·ln 4 - 0.54)) = 0.5·0.0531.
@pytest.mark.parametrize(
    ("limit", "guard"),
    [
        (item("simple"), 0.0),
        (item("guarded", guard=0.44), 0.44),
        (item("guard-band"), 0.5),
        (item("guard-band", share=0.5), 0.25),
        (item("managed"), 0.5 * 0.0531),
    ],
    ids=["simple", "guarded", "guard-band", "half-guard-band", "managed"],
)
def test_the_three_zones_of_each_rule(limit: LimitItem, guard: float) -> None:
    assert decide(0.0, limit, expanded=0.5).guard == pytest.approx(guard, abs=1e-4)
    band = decide(0.0, limit, expanded=0.5).guard
    assert decide(2.0 - band - 1e-9, limit, expanded=0.5).outcome is Outcome.PASS
    assert decide(-2.0 - band - 1e-9, limit, expanded=0.5).outcome is Outcome.FAIL
    if band:
        assert decide(2.0 + band - 1e-9, limit, expanded=0.5).outcome is Outcome.INCONCLUSIVE


def test_the_decision_carries_its_uncertainty_and_its_risk() -> None:
    claim = judge_number(item("simple"), 2.0, setting=Setting(1, 0, 0), where="ch1 20V", expanded=0.5)
    assert claim.outcome is Outcome.PASS
    # A number read at its limit is good as likely as not.
    assert claim.conformance_ratio == pytest.approx(0.5)
    assert (claim.rule, claim.expanded, claim.tur_ratio, claim.warning) == ("simple", 0.5, 4.0, "")
    # 97.5 % one-sided at 1.96 u.
    inside = judge_number(item("simple"), 2.0 - 1.959964 * 0.25, setting=Setting(1, 0, 0), where="w", expanded=0.5)
    assert inside.conformance_ratio == pytest.approx(0.975, abs=1e-6)


def test_below_tur_four_the_decision_warns_and_below_one_it_refuses() -> None:
    weak = decide(0.0, item("simple"), expanded=1.0)
    assert weak.outcome is Outcome.PASS
    assert "below 4" in weak.warning
    none = judge_number(item("simple"), 0.0, setting=Setting(1, 0, 0), where="ch1 20V", expanded=2.5)
    assert none.outcome is Outcome.INCONCLUSIVE
    assert "TUR 0.8" in none.reason
    assert "cannot tell good from bad" in none.reason
    assert decide(4.6, item("simple"), expanded=2.5).outcome is Outcome.FAIL


def test_a_rule_by_uncertainty_decides_nothing_without_one() -> None:
    for rule in ("managed", "guard-band"):
        claim = judge_number(item(rule), 0.0, setting=Setting(1, 0, 0), where="ch1 20V")
        assert claim.outcome is Outcome.INCONCLUSIVE
        assert f"rule {rule} needs an uncertainty and none is stated" in claim.reason
    assert decide(0.0, item("managed"), expanded=0.0).outcome is Outcome.PASS


def test_a_number_that_is_none_is_not_judged() -> None:
    with pytest.raises(NotFinite, match="value is nan"):
        decide(float("nan"), item("simple"))
    with pytest.raises(NotFinite, match="expanded is -1"):
        decide(0.0, item("simple"), expanded=-1.0)


def test_a_number_beyond_its_limit_is_left_out_even_where_its_rule_has_no_uncertainty() -> None:
    limit = LimitItem(item="gain", low=-2.0, high=2.0, rule="managed", unit="percent", owner="o", reason="r")
    # By the managed rule, TUR 4, w = 0.5·0.053: what lies between is in doubt and stays in.
    assert [fails(value, limit, expanded=0.5) for value in (1.0, 2.02, 2.03)] == [False, False, True]
    assert [fails(value, limit) for value in (1.0, -1.99, 2.01)] == [False, False, True]
    assert decide(5.0, limit).outcome is Outcome.INCONCLUSIVE
    assert not fails(5.0, limit.model_copy(update={"low": None, "high": None}))
