"""Which claims a ladder makes, what each must have swept, and how one reads; without pytest's own machinery."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Sequence

import pytest

from fixtures.options import DEFAULT_JOB
from harness.app.run import judge_of
from harness.app.setup import Setup, read_setup
from harness.app.suite import Decided, SuiteClaim, Tally, by_range, decide, differences, planned_claims, ranges_named
from harness.app.suite.claim import Range
from harness.app.suite.judged import Part, Parts
from harness.errors import UsageError
from harness.judge.facts import channel_facts
from harness.values import Candidate, Outcome, Reading, ReadingStatus
from tests.judge.run_builder import FULL, healthy, reading_of, setup_at

ITEMS = {"measurable", "steady", *(limit.item for limit in FULL.limits.values())} - {"parameter"}
# Those of a whole channel, and those for which the job takes no readings.
ITEMS -= {"bus-timing", "input-noise", "two-level", "second-frequency", "toggle-scatter", "crosstalk", "clip-level"}
ITEMS -= {"missing-codes", "polarity"}


class Taken:
    """A run made of readings that were taken already."""

    def __init__(self, setup: Setup, readings: Collection[Reading]) -> None:
        self.ladder = by_range(rung.setting for rung in setup.rungs)
        judge = judge_of(setup)
        for reading in readings:
            judge.take(reading)
        self._parts = Parts(judge, [setting for setting, _ in setup.planned()], tuple)

    def part(self, ranges: Collection[Range]) -> Part:
        return self._parts.of(ranges)

    def causes(self, channel: int | None) -> Sequence[Candidate]:
        known = [one for one in self.ladder if channel in (None, one[0])]
        return self.part(known).result.candidates


@pytest.fixture(scope="module")
def whole() -> Taken:
    return Taken(FULL, [healthy(rung) for rung in FULL.rungs])


def named(setup: Setup) -> dict[str, SuiteClaim]:
    return {claim.name: claim for claim in planned_claims(setup)}


def test_each_claim_that_the_ladder_can_decide_is_planned_once(whole: Taken) -> None:
    claims = planned_claims(FULL)
    # Each range has every item, the lowest no coarse step; parameters, bus and codes are claimed of each channel once.
    assert len({claim.name for claim in claims}) == len(claims) == 2 * (11 * len(ITEMS) - 1 + 3)
    part = whole.part(whole.ladder)
    assert {claim.item for claim in claims if not part.index.get(claim.place)} == {"steady"}
    assert sum(len(part.index.get(claim.place, ())) for claim in claims) == len(part.result.judgements)


def test_what_is_claimed_of_hardware_alone_is_not_asked_of_arithmetic() -> None:
    """The 10 mV range doubles the codes of the one below: nothing is decided about where its amplifiers clip."""
    claims = named(read_setup("configs/jobs/validation.toml"))
    assert "ch1-20mV-clip-level" in claims
    assert "ch1-10mV-clip-level" not in claims
    assert "ch1-10mV-crosstalk" in claims


@pytest.mark.parametrize(
    ("places", "missing"),
    [
        (((1, 3, 0),), {"fine-step", "monotonic", "coarse-step", "residual"}),
        (((1, 3, 0), (1, 3, 5)), {"coarse-step", "residual"}),
        (((1, 2, 5), (1, 3, 0)), {"fine-step", "monotonic", "coarse-step", "residual"}),
        (((1, 2, 0), (1, 3, 0), (1, 3, 5)), {"residual"}),
        (((1, 2, 0), (1, 3, 0), (1, 3, 5), (1, 3, 10)), set()),
        (((2, 2, 0), (1, 3, 0), (1, 3, 5), (1, 3, 10), (1, 3, 15)), {"coarse-step"}),
    ],
)
def test_what_a_ladder_cannot_show_is_not_claimed(places: tuple[tuple[int, int, int], ...], missing: set[str]) -> None:
    names = [claim.name for claim in planned_claims(setup_at(*places))]
    shown = {name.removeprefix("ch1-2V-") for name in names if name.startswith("ch1-2V-")}
    assert shown == ITEMS - missing - {"channel-match"}  # no other channel has this range


def test_claims_stand_so_that_sweeping_goes_straight_through_the_ladder(whole: Taken) -> None:
    claims = planned_claims(FULL)
    wanted = {one for claim in claims for one in claim.named(whole.ladder)}
    assert wanted == set(whole.ladder)
    order: list[Range] = []
    for claim in claims:
        order += [one for one in claim.needed(whole.ladder, wanted) if one not in order]
    assert tuple(order) == whole.ladder
    # The first claims need one range, and a step's claim the one below besides.
    assert claims[0].needed(whole.ladder, wanted) == ((1, 0),)
    step = named(FULL)["ch2-50mV-coarse-step"]
    assert step.needed(whole.ladder, wanted) == ((2, 7), (2, 8))


def test_what_looks_at_a_channel_takes_what_the_session_asks_for_else_all_of_it(whole: Taken) -> None:
    claims = named(FULL)
    asked = {one for name in ("ch2-50mV-gain", "ch2-50mV-residual") for one in claims[name].named(whole.ladder)}
    assert asked == {(2, 7), (2, 8)}
    assert claims["ch2-50mV-residual"].needed(whole.ladder, asked) == ((2, 7), (2, 8))
    assert claims["ch2-parameter"].needed(whole.ladder, asked) == ((2, 7), (2, 8))
    assert claims["ch1-parameter"].needed(whole.ladder, asked) == tuple((1, coarse) for coarse in range(11))


def test_a_part_is_decided_alike_whatever_else_was_swept(whole: Taken) -> None:
    ranges = ((2, 7), (2, 8))
    alone = Taken(FULL, [healthy(r) for r in FULL.rungs if (r.setting.channel, r.setting.coarse) in ranges])
    # The record of the bus alone is of everything heard of a channel.
    parts = [dataclasses.replace(run.part(ranges).result, bus=()) for run in (alone, whole)]
    assert parts[0] == parts[1]
    assert alone.part(ranges).result.complete
    assert len(alone.part(ranges).result.settings) == 10


def test_a_part_can_be_asked_about_some_of_its_ranges(whole: Taken) -> None:
    ranges, part = ((2, 7), (2, 8)), whole.part(whole.ladder)
    places = [(2, coarse, fine) for coarse in (7, 8) for fine in (0, 5, 10, 15, 20)]
    rows, gains = part.rows(ranges), part.judgements("gain", ranges)
    for settings in ([row.setting for row in rows], [one.setting for one in gains if one.setting]):
        assert [(one.channel, one.coarse, one.fine) for one in settings] == places
    # What is said of a channel as a whole belongs to each of its ranges.
    assert {one.setting.channel for one in part.judgements("parameter", ranges) if one.setting} == {2}


def test_what_a_channel_shows_is_worked_out_once_for_it_and_for_the_run(monkeypatch: pytest.MonkeyPatch) -> None:
    judge = judge_of(FULL)
    for rung in FULL.rungs:
        judge.take(healthy(rung))
    fresh = judge.under(judge._limits).result()
    asked: list[int] = []
    monkeypatch.setattr(
        "harness.judge.taken.channel_facts",
        lambda part, **keys: asked.append(len(part)) or channel_facts(part, **keys),
    )
    for channel in (1, 2):
        judge.result(only=[setting for setting, _ in FULL.planned() if setting.channel == channel])
    assert judge.result() == fresh
    assert asked == [55, 55]
    judge.take(healthy(FULL.rungs[0]))
    judge.result()
    assert asked == [55, 55, 55, 55]


def test_a_range_that_was_not_read_is_invalid_and_many_reasons_are_counted() -> None:
    setup = setup_at(*((1, 3, fine) for fine in (0, 5, 10, 15, 20)))
    decided = decide(named(setup)["ch1-2V-measurable"], Taken(setup, []), ())
    assert decided.outcome is Outcome.INVALID
    assert decided.text.startswith("ch1-2V-measurable: INVALID: measured 0 of 5 met; ch1 2V 100 %: not read; ")
    assert "; 2 more" in decided.text
    tally = Tally()
    tally.add(decided)
    assert (tally.ran, tally.all_pass) == (1, False)


def test_a_line_reads_like_one_of_a_test_report() -> None:
    # Closed form: gains of 0.99 and 1.005 times the law are 100·ln of that off, and the farther one is the worst.
    setup = setup_at((1, 3, 0), (1, 3, 5))
    ratio = {0: 0.99, 5: 1.005}
    run = Taken(setup, [reading_of(rung, gain_ratio=ratio[rung.setting.fine]) for rung in setup.rungs])
    decided = decide(named(setup)["ch1-2V-gain"], run, ())
    assert decided.outcome is Outcome.PASS
    assert decided.line.place == "ch1 2V 100 %"
    expanded = decided.judgements[0].expanded
    assert expanded
    told = f"ch1-2V-gain: PASS: measured −1.005 %, U {expanded:.3f} %, limit −2 % to +2 %, margin +0.995 %"
    assert decided.text == told


def test_parameters_that_the_ladder_cannot_tell_are_shown_and_not_counted() -> None:
    setup = setup_at(*((1, 3, fine) for fine in (0, 5, 10, 15, 20)))
    run = Taken(setup, [healthy(rung) for rung in setup.rungs])
    claims = named(setup)
    told = decide(claims["ch1-parameter"], run, ())
    assert told.text.startswith("ch1-parameter: not exercised: ch1 attenuator 1:10: not exercised, this ladder cannot")
    tally = Tally()
    tally.add(told)
    # Alone it is no success; beside claims that pass it does no harm.
    assert (tally.ran, tally.all_pass) == (1, False)
    for name, claim in claims.items():
        if "parameter" not in name:
            tally.add(decide(claim, run, ()))
    assert tally.all_pass
    session = Tally()
    session.add_sent(tally.as_sent())
    session.add_sent({})
    assert (session.ran, session.all_pass) == (tally.ran, True)


def test_what_is_said_only_where_something_is_wrong_passes_in_silence_and_never_unread() -> None:
    setup = setup_at((1, 3, 0), (1, 3, 5))
    sound = [healthy(rung) for rung in setup.rungs]
    claim = named(setup)["ch1-2V-steady"]
    decided = decide(claim, Taken(setup, sound), ())
    assert (decided.outcome, decided.counted, decided.line.reasons) == (Outcome.PASS, True, ())
    assert decide(claim, Taken(setup, []), ()).outcome is not Outcome.PASS
    # A try whose whole span allows for a tenth of the gain contradicts the record that follows it.
    weak = dataclasses.replace(reading_of(setup.rungs[0], gain_ratio=0.1), status=ReadingStatus.RELEVELLED)
    broken = decide(claim, Taken(setup, [weak, *sound]), ())
    assert broken.outcome is Outcome.FAIL
    assert "something breaks now and then" in broken.text


def test_rows_are_held_against_the_record(whole: Taken) -> None:
    claims = named(FULL)
    shown = {claims["ch1-2V-gain"]: "passed", claims["ch2-parameter"]: "passed"}
    assert differences(shown, whole, ()) == ()
    shown[claims["ch1-2V-gain"]] = "skipped"
    assert differences(shown, whole, ()) == ("ch1-2V-gain: shown as skipped, the record says PASS",)


def test_the_text_of_a_claim_names_the_likely_cause() -> None:
    setup = setup_at(*((1, 3, fine) for fine in (0, 5, 10, 15, 20)))
    wrong = [reading_of(rung, gain_ratio=1.1) for rung in setup.rungs]
    decided: Decided = decide(named(setup)["ch1-2V-gain"], Taken(setup, wrong), ())
    assert decided.outcome is Outcome.FAIL
    cause = decided.part.result.candidates[0]
    assert cause.fault
    assert decided.text.endswith(f"; likely cause: {cause.fault}: {cause.why}")


def test_ranges_by_name() -> None:
    names = ["20V", "10V"]
    ladder = ((1, 0), (1, 1), (2, 1))
    assert ranges_named(ladder, names, channel=None, coarse=None) == ladder
    assert ranges_named(ladder, names, channel=None, coarse="10V") == ((1, 1), (2, 1))
    assert ranges_named(ladder, names, channel=2, coarse="10V") == ((2, 1),)
    with pytest.raises(UsageError, match="no range 20V on channel 2; it has the channels 1, 2 and the ranges 20V, 10V"):
        ranges_named(ladder, names, channel=2, coarse="20V")


def test_the_default_job_is_simulated_and_in_process() -> None:
    setup = read_setup(str(DEFAULT_JOB))
    assert setup.bench.file.simulation is not None
    assert setup.job.transport == "in-process"
