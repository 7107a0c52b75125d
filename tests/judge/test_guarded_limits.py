import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.config import LimitItem, LimitsFile, parse
from harness.errors import ConfigError, ExitCode
from harness.judge import ITEMS, build, exit_code, worst_outcome
from harness.judge.limits import decide, judge_number
from harness.values import Outcome, Setting

GAIN = LimitItem(item="gain", low=-2.0, high=2.0, guard=0.44, unit="percent", owner="o", reason="r")


# Closed form: PASS at |x| <= T - w, FAIL at |x| > T + w (JCGM 106:2012, guarded acceptance and guarded rejection).
@pytest.mark.parametrize(
    ("value", "outcome", "margin"),
    [
        (0.0, Outcome.PASS, 2.0),
        (1.56, Outcome.PASS, 0.44),
        (1.57, Outcome.INCONCLUSIVE, 0.43),
        (-2.0, Outcome.INCONCLUSIVE, 0.0),
        (-2.43, Outcome.INCONCLUSIVE, -0.43),
        (2.45, Outcome.FAIL, -0.45),
    ],
)
def test_three_zones(value: float, outcome: Outcome, margin: float) -> None:
    decided = decide(value, GAIN)
    assert decided.outcome is outcome
    assert decided.margin == pytest.approx(margin, abs=1e-12)


def test_an_open_limit_knows_one_side_and_no_limit_passes_all() -> None:
    upper = LimitItem(item="gain", high=1.0, unit="percent", owner="o", reason="r")
    assert decide(-1e9, upper).outcome is Outcome.PASS
    assert decide(1.1, upper).outcome is Outcome.FAIL
    assert decide(5.0, LimitItem(item="gain", owner="o", reason="r")).margin is None


@given(st.floats(-10, 10), st.floats(0, 1))
def test_a_wider_guard_band_never_turns_a_decision_round(value: float, guard: float) -> None:
    plain = decide(value, LimitItem(item="gain", low=-2, high=2, unit="percent", owner="o", reason="r")).outcome
    guarded = decide(value, LimitItem(item="gain", low=-2, high=2, guard=guard, unit="percent", owner="o", reason="r"))
    assert guarded.outcome in (plain, Outcome.INCONCLUSIVE)


def test_words_say_where_what_and_what_is_allowed() -> None:
    said = judge_number(GAIN, 3.0, setting=Setting(1, 0, 0), where="ch1 20V 100 %").reason
    assert said == "ch1 20V 100 %: gain off by +3 percent, allowed -2 to +2 percent"
    grey = judge_number(GAIN, 1.9, setting=Setting(1, 0, 0), where="ch1 20V 100 %").reason
    assert "inside the guard band of 0.44 percent" in grey


def test_precedence_and_exit_codes() -> None:
    assert worst_outcome([]) is Outcome.INVALID
    assert worst_outcome([Outcome.PASS, Outcome.INCONCLUSIVE]) is Outcome.INCONCLUSIVE
    assert worst_outcome([Outcome.INCONCLUSIVE, Outcome.INVALID]) is Outcome.INVALID
    assert worst_outcome([Outcome.INVALID, Outcome.FAIL, Outcome.PASS]) is Outcome.FAIL
    assert [exit_code(o) for o in Outcome] == [
        ExitCode.PASS, ExitCode.FAIL, ExitCode.INCONCLUSIVE, ExitCode.INVALID,
    ]  # fmt: skip


def limits(rows: str) -> LimitsFile:
    head = 'kind = "limits"\nversion = 1\nname = "n"\n'
    change = '[[change]]\nversion = 1\ndate = 2026-01-01\nowner = "o"\nreason = "r"\n'
    return parse(LimitsFile, head + change + rows, file="l.toml")


def row(**keys: object) -> str:
    return "[[limit]]\n" + "".join(f"{k} = {v!r}\n" for k, v in {"owner": "o", "reason": "r", **keys}.items())


def test_every_problem_of_content_at_once() -> None:
    text = (
        row(item="gian") + row(item="word", low=1.0) + row(item="gain", unit="dB", high=1.0)
        + row(item="monotonic") + row(item="monotonic") + row(item="fine-step", unit="percent", apart=2)
        + row(item="coarse-step", unit="percent", high=1.0, apart=2)
    )  # fmt: skip
    with pytest.raises(ConfigError) as caught:
        build(limits(text), file="l.toml")
    found = {p.key: (p.got, p.allowed) for p in caught.value.problems}
    assert found["limit[0].item"] == ("'gian'", "one of " + ", ".join(sorted(ITEMS)))
    assert found["limit[1]"] == ("numbers", "no low and no high: the item is met or not")
    assert found["limit[2].unit"] == ("'dB'", "'percent'")
    again = "each item once for everywhere, and rows with channels or coarse that do not overlap"
    assert found["limit[4].item"] == ("'monotonic' again", again)
    assert found["limit[5]"] == ("no number", "low, high or both")
    assert found["limit[6].apart"] == ("2", "nothing here: only fine-step has positions apart")
    assert "limit[5].apart" not in found


def test_a_guard_band_of_1_64_standard_uncertainties_leaves_one_in_twenty() -> None:
    """JCGM 106:2012, 8.3.2.3: w = 1.645·u at one near limit makes conformity 95 % sure: the risk is 5 %."""
    row = LimitItem(item="gain", high=2.0, guard=0.16449, unit="percent", owner="o", reason="r")
    ends = [judge_number(row, at, setting=Setting(1, 0, 0), where="", expanded=0.2) for at in (1.8355, 2.1645)]
    assert [one.outcome for one in ends] == [Outcome.PASS, Outcome.FAIL]
    assert ends[0].consumer_risk_ratio == pytest.approx(0.05, abs=1e-4)
    assert ends[1].producer_risk_ratio == pytest.approx(0.05, abs=1e-4)
    assert ends[0].producer_risk_ratio is None is ends[1].consumer_risk_ratio
