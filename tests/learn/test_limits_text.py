"""The proposal of limits: what it says comes from the gains."""

from __future__ import annotations

import datetime
import math
import tomllib
from typing import Any

import pytest

from harness.config import LimitsFile, parse
from harness.learn import Observed, explain, proposed_limits_text
from harness.values import ControlWord, Setting

DATE = datetime.date(2026, 11, 30)
SCALE = 1.01
"""Of the second channel over the first."""


def observed(*, without: tuple[tuple[int, int], ...] = ()) -> list[Observed]:
    """Two channels, two ranges that no word tells apart; no gain in some ranges of some channels."""
    return [
        Observed(
            setting=Setting(channel, coarse, k),
            words=(ControlWord(f"latch-{channel}", 7, code),),
            gain_codes_per_v=None if (channel, coarse) in without else 0.01 * code * 10.0**coarse * scale,
        )
        for channel, scale in ((1, 1.0), (2, SCALE))
        for coarse in (0, 1)
        for k, code in enumerate(range(40, 120, 6))
    ]


def rows(seen: list[Observed]) -> dict[str, dict[str, Any]]:
    text = proposed_limits_text(explain(seen), name="box", date=DATE, owner="x", made_by="made here")
    parse(LimitsFile, text, file="limits")
    return {row["item"]: row for row in tomllib.loads(text)["limit"]}


@pytest.mark.parametrize("without", [(), ((2, 0),)])
def test_the_limit_of_a_gain_holds_how_channels_differ(without: tuple[tuple[int, int], ...]) -> None:
    """Four standard deviations of ln 1 and ln 1.01, in whichever ranges the channels were measured."""
    spread_percent = 100.0 * math.log(SCALE) / math.sqrt(2.0)
    row = rows(observed(without=without))["gain"]
    assert row["high"] == math.ceil(4.0 * spread_percent * 20.0) / 20.0
    assert row["low"] == -row["high"]
    assert f"channels differ by {spread_percent:.2g} % rms" in row["reason"]


def test_a_law_that_leaves_nothing_proposes_the_least() -> None:
    found = rows(observed())
    assert (found["residual"]["high"], found["fine-step"]["high"], found["coarse-step"]["high"]) == (0.3, 0.3, 0.6)
    assert {"monotonic", "realness", "word"} <= set(found)
