"""The validation job on the simulated bench: good units pass, each fault fails its claim on its channel alone."""

from __future__ import annotations

import dataclasses
from functools import cache

import pytest

from harness.app.bench_open import open_bench
from harness.app.run import judge_of, plan_of
from harness.app.setup import Setup, read_setup
from harness.judge import RunJudge
from harness.sweep import sweep
from harness.values import Outcome, Purpose, Reading, RunResult
from tests.judge.run_builder import JOB
from tests.studies.false_fail import under

COARSE = (0, 5, 9)
EXTRA_COARSE = (0, 3, 9, 10)
WHOLE = (Purpose.REPEAT, Purpose.REPEAT_TOGGLED, Purpose.CROSSTALK, Purpose.TWO_LEVEL)


class Notebook:
    """A recorder in memory."""

    def __init__(self) -> None:
        self.readings: list[Reading] = []

    def record(self, reading: Reading) -> None:
        self.readings.append(reading)

    def note(self, kind: str, text: str) -> None:
        del kind, text


@cache
def setup() -> Setup:
    """The job cut down to three ranges at one fine position, and to the readings beside it on channels 1 and 2."""
    whole = read_setup(JOB.replace("ci.toml", "validation.toml"))
    rungs = tuple(r for r in whole.rungs if r.setting.coarse in COARSE and r.setting.fine == 20)
    extras = tuple(
        r
        for r in whole.extras
        if r.setting.channel < 3
        and (r.purpose in WHOLE or r.setting.coarse in EXTRA_COARSE)
    )
    return dataclasses.replace(whole, rungs=rungs, extras=extras)


def judge_of_run(*faults: str, seed: int = 1) -> RunJudge:
    wanted, notebook = setup(), Notebook()
    with open_bench(wanted.bench, wanted.device, transport="in-process", seed=seed, faults=faults) as opened:
        sweep(opened.bench, plan_of(wanted), notebook, progress=lambda done, reading: None)
    judge = judge_of(wanted, waveforms=False)
    for reading in notebook.readings:
        judge.take(reading)
    return judge


def failing(result: RunResult, item: str) -> set[int]:
    """Channels at which an item fails."""
    return {c.setting.channel for c in result.judgements if c.item == item and c.outcome is Outcome.FAIL and c.setting}


ITEMS = (
    "channel-match", "offset", "noise", "input-noise", "two-level", "second-frequency", "toggle-scatter", "crosstalk",
    "clip-level", "polarity",
)  # fmt: skip


@pytest.mark.parametrize("seed", [1, 2])
def test_a_good_unit_passes_every_claim(seed: int) -> None:
    judge = judge_of_run(seed=seed)
    results = [judge.result(), judge.under(under(setup().limits, "managed")).result()]
    for result in results:
        # Three settings do not show each code of the converter often enough.
        assert result.unmeasured == ("missing-codes",)
        outcomes = {item: {c.outcome for c in result.judgements if c.item == item} for item in ITEMS}
        assert outcomes == {item: {Outcome.PASS} for item in ITEMS}
        # Each number has its uncertainty, whatever the claim, and how sure the decision is follows from it.
        assert {c.item for c in result.judgements if c.measured is not None and c.expanded is None} == set()
        for claim in (c for c in result.judgements if c.item in ITEMS):
            assert claim.expanded, claim
            assert claim.conformance_ratio is not None
            assert claim.conformance_ratio > 0.97
            assert (claim.tur_ratio is None) == (None in (claim.low, claim.high))


@pytest.mark.parametrize(
    ("faults", "expected"),
    [
        (("output-compression:1=-0.3", "excess-noise:2=3"), {"two-level": 1, "input-noise": 2, "noise": 2}),
        (("bandwidth-falls-with-gain:1=0.5", "input-offset:2=5"), {"second-frequency": 1, "offset": 2}),
        (("supply-rail-low:2=20", "leaky-clamp:1=0.6"), {"clip-level": 2, "polarity": 1}),
        (("relay-contact-film:1=0.3", "channel-crosstalk:2=-40"), {"toggle-scatter": 1, "crosstalk": 2}),
        (("pregain-ratio-wrong:1=5", "attenuator-compensation-wrong:2=2"), {"channel-match": 1, "second-frequency": 2}),
    ],
)
def test_a_fault_at_its_size_fails_its_claim_on_its_channel_alone(
    faults: tuple[str, ...], expected: dict[str, int]
) -> None:
    judge = judge_of_run(*faults)
    for rule in ("", "managed", "guard-band"):
        limits = under(setup().limits, rule) if rule else setup().limits
        found = {item: failing(judge.under(limits).result(), item) for item in expected}
        assert found == {item: {channel} for item, channel in expected.items()}, rule
