"""What did not pass, in few lines: counted by hand on made-up claims."""

import dataclasses
from types import SimpleNamespace

from harness.report import failures
from harness.values import Judgement, Outcome, Setting


def claim(
    item: str, setting: Setting | None, outcome: Outcome, margin: float | None = None, reason: str = ""
) -> Judgement:
    return Judgement(
        item=item, setting=setting, other=None, outcome=outcome, measured=None, low=None, high=None, guard=0.0,
        unit="percent", margin=margin, reason=reason,
    )  # fmt: skip


def test_like_failures_of_a_channel_are_one_line_with_the_worst(made: SimpleNamespace) -> None:
    several = (
        claim("gain", Setting(1, 0, 0), Outcome.PASS, 1.0),
        claim("gain", Setting(2, 0, 0), Outcome.PASS, 1.0),
        claim("gain", Setting(2, 0, 1), Outcome.INCONCLUSIVE, -0.1, "inside the guard band"),
        claim("gain", Setting(2, 3, 0), Outcome.FAIL, -2.0, "off by 4"),
        claim("gain", Setting(2, 3, 1), Outcome.FAIL, -5.0, "off by 7"),
        claim("gain", Setting(2, 4, 0), Outcome.FAIL, -3.0, "off by 5"),
    )
    assert failures(dataclasses.replace(made.good, judgements=several)) == (
        "FAIL  ch2 gain: 3 of 5 (2V 2, 1V 1); worst: off by 7",
        "INCONCLUSIVE  inside the guard band",
    )


def test_claims_without_a_number_show_the_first_and_the_run_speaks_for_itself(made: SimpleNamespace) -> None:
    several = (
        claim("station", None, Outcome.INVALID, reason="the load is wrong"),
        claim("station", None, Outcome.INVALID, reason="the meter is silent"),
        claim("measurable", Setting(1, 0, 0), Outcome.INVALID, reason="one: not read"),
        claim("measurable", Setting(1, 1, 0), Outcome.INVALID, reason="two: not read"),
        claim("word", Setting(1, 1, 0), Outcome.FAIL, reason="word 029"),
    )
    assert failures(dataclasses.replace(made.good, judgements=several)) == (
        "FAIL  word 029",
        "INVALID  the load is wrong",
        "INVALID  the meter is silent",
        "INVALID  ch1 measurable: 2 of 2 (20V 1, 10V 1); first: one: not read",
    )


def test_nothing_is_said_of_a_plain_pass(made: SimpleNamespace) -> None:
    plain = claim("gain", Setting(1, 0, 0), Outcome.PASS, 1.0)
    assert failures(dataclasses.replace(made.good, judgements=(plain,))) == ()
