"""Which further readings are asked for, and that they are planned within what the bench permits."""

from __future__ import annotations

import math
from typing import Any

from harness.app.probe import asked_of, rungs_of, with_probe
from harness.app.setup import read_setup
from harness.diagnosis import KNOWN, follow_up
from harness.diagnosis.follow_up import SEPARATING
from harness.ladder.probe import beside_hz, second_frequency_hz
from harness.values import Candidate, Event, Purpose
from tests.judge.run_builder import healthy, judged, reading_of, setup_at

JOB = "configs/jobs/ci.toml"


def candidate(fault: str, *ambiguous: str) -> Candidate:
    return Candidate(fault=fault, why="", test="", ambiguous=ambiguous)


def test_one_candidate_that_explains_everything_asks_for_nothing() -> None:
    assert follow_up([candidate("data-bit-stuck-low")], unexplained=False) == ()
    assert follow_up([], unexplained=False) == ()


def test_what_cannot_be_told_apart_asks_for_what_separates_it_cheapest_first() -> None:
    found = follow_up([candidate("attenuator-resistor-wrong", "relay-contact-film")], unexplained=False)
    assert found == (Purpose.SECOND_FREQUENCY, Purpose.REPEAT)
    assert follow_up([candidate("load-resistor-wrong", "reference-wrong")], unexplained=False) == (Purpose.QUIET,)


def test_what_nothing_explains_is_looked_at_from_all_sides() -> None:
    assert follow_up([], unexplained=True) == tuple(purpose for purpose, _ in SEPARATING)
    assert {fault for _, faults in SEPARATING for fault in faults} <= set(KNOWN)


def test_frequencies_are_coherent_and_apart(ci: Any) -> None:
    acquisition = ci.setup.device.acquisition
    for frequency_hz in (second_frequency_hz(ci.setup.device), beside_hz(ci.setup.device)):
        cycles = frequency_hz * acquisition.samples / acquisition.sample_rate_hz
        assert cycles == round(cycles)
        assert math.gcd(round(cycles), acquisition.samples) == 1
        assert round(cycles) != acquisition.cycles
    # 799 of 4000 samples: the highest below a fifth that shares no factor with them.
    assert second_frequency_hz(ci.setup.device) == 99875.0


def test_a_probe_stays_in_the_affected_channel_and_within_the_limits(ci: Any) -> None:
    text = '{"purposes": ["quiet", "two-level", "second-frequency", "crosstalk", "repeat"], "channels": [2]}'
    rungs = rungs_of(ci.setup, text)
    assert {rung.setting.channel for rung in rungs} == {2}
    # This bench has no second source: cross-talk is left out.
    kinds = {Purpose.QUIET, Purpose.TWO_LEVEL, Purpose.SECOND_FREQUENCY, Purpose.REPEAT, Purpose.REPEAT_TOGGLED}
    assert {rung.purpose for rung in rungs} == kinds
    assert max(rung.drive_vpk for rung in rungs) <= ci.setup.drive.most_vpk
    again = with_probe(ci.setup, [Event(at_utc="", at_s=0.0, kind="probe", text=text)])
    assert again.extras == rungs
    assert with_probe(ci.setup, []) is ci.setup


def test_a_good_unit_asks_for_nothing_a_bad_one_names_its_channel() -> None:
    setup = setup_at(*((c, 3, fine) for c in (1, 2) for fine in (0, 5, 10, 15, 20)))
    assert asked_of(setup, judged(setup, map(healthy, setup.rungs))) == ""
    bad = [reading_of(r, gain_ratio=1.05 if r.setting.channel == 2 else 1.0) for r in setup.rungs]
    assert asked_of(setup, judged(setup, bad)).endswith('"channels": [2]}')


def test_the_probe_is_recorded_and_judged_again_alike(gainladder: Any, tmp_path: Any) -> None:
    store = ("--store", f"sqlite:///{tmp_path / 'runs.sqlite'}")
    swept = gainladder("sweep", JOB, "--fault", "output-compression:2=-1", "--probe", "--json", *store)
    assert swept.code == 1, swept.err
    assert "output-compression" in [candidate["fault"] for candidate in swept.json["candidates"]]
    again = gainladder("judge", "last", "--json", *store)
    assert again.json["candidates"] == swept.json["candidates"]
    assert len(read_setup(JOB).extras) == 0
