"""The job of realness on the simulated bench: readings beside the ladder join what the waveform says, and are shown."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
from collections import Counter
from types import SimpleNamespace

import pytest

from harness import report
from harness.app.setup import read_setup
from harness.judge.beside import exact_steps_of
from harness.judge.extra_reading import ExtraMeasured
from harness.values import Purpose, Realness
from tests.judge.run_builder import JOB
from tests.report.conftest import header
from tests.simulated_run import decided, swept, without_words

SETUP = read_setup(JOB.replace("ci.toml", "realness.toml"))
KEPT = (0, 5, 6, 7, 9, 10)
"""Ranges: one that no level overdrives, three paths, and the declared arithmetic one with what stands underneath."""


def run(*faults):
    rungs = tuple(rung for rung in SETUP.rungs if rung.setting.coarse in KEPT)
    extras = tuple(rung for rung in SETUP.extras if rung.setting.coarse in KEPT)
    setup = dataclasses.replace(SETUP, rungs=rungs, extras=extras)
    readings = swept(setup, seed=3, faults=faults)
    return SimpleNamespace(setup=setup, readings=readings, result=decided(*without_words(setup, readings)))


@pytest.fixture(scope="module")
def good():
    return run()


@pytest.fixture(scope="module")
def arithmetic():
    return run("fine-gain-arithmetic:1")


@pytest.mark.parametrize("name", ["good", "arithmetic"])
def test_no_test_contradicts_the_truth(name, request):
    """Steps inside one range of hardware: what the two settings are is what the step is."""
    made, said = request.getfixturevalue(name), Counter()
    truth = {"good": "hardware", "arithmetic": "arithmetic"}[name]
    for step in made.result.steps:
        if step.kind == "fine" and step.upper.coarse < 10:
            own = step.evidence.tests[0].against
            told = [t for t in step.evidence.tests if t.against == own and t.says != "cannot-tell"]
            assert {test.says for test in told} <= {truth}, told
            said.update(test.name for test in told)
    assert {"W4", "W5"} <= set(said)
    # It says hardware or nothing.
    assert (said["W6"] > 0) is (name == "good")


def test_without_words_the_declared_range_is_arithmetic_by_clip_level_and_exact_steps(good):
    assert {row.realness for row in good.result.settings if row.setting.coarse == 10} == {Realness.ARITHMETIC}
    row = next(row for row in good.result.settings if row.setting.coarse == 10 and row.setting.fine == 20)
    tests = {test.name: test for test in row.evidence.tests if test.against.startswith("ch1 20mV 40 % to")}
    assert {name: tests[name].says for name in ("W4", "W5", "W6")} == {
        "W4": "arithmetic", "W5": "arithmetic", "W6": "cannot-tell",
    }  # fmt: skip
    # On the screen of 10 mV at 40 % the drive is 2.4 mV peak; the hardware of 20 mV goes on to 4 mV.
    assert "clips at 0.003989 V" in tests["W4"].why
    assert "more than 0.002" in tests["W4"].why
    assert "as exact" in tests["W5"].why
    assert "no more than rounding explains" in tests["W6"].why


def test_where_the_level_limit_forbids_it_the_clip_level_cannot_tell(good):
    row = next(row for row in good.result.settings if row.setting.coarse == 0 and row.setting.fine == 10)
    unmet = next(test for test in row.evidence.tests if test.name == "W4")
    assert (unmet.met, unmet.says) == (False, "cannot-tell")
    assert unmet.why == "reference: source, bench or device permit no level beyond its full scale"
    assert max(r.drive_set_vpk for r in good.readings) <= SETUP.bench.file.max_level_vpk


def test_page_csv_and_json_hold_them(good):
    page = report.html(header(), good.result, ())
    for name in ("W4", "W5", "W6"):
        assert f'<th scope="col">{name}</th>' in page
    rows = list(csv.DictReader(io.StringIO(report.csv_text(header(), good.result))))
    last = next(row for row in rows if row["setting"].startswith("ch1 10mV 40"))
    assert "W4 arithmetic -7.0" in last["waveform_tests"]
    content = json.loads(report.json_text(header(), good.result))
    tests = content["settings"][-1]["evidence"]["tests"]
    assert {"W4", "W5", "W6"} <= {test["name"] for test in tests if test["met"]}


def test_exact_steps_are_named_steps_with_the_scatter_of_the_rounds():
    wanted = [r for r in SETUP.extras if r.purpose is Purpose.EXACT and r.setting.coarse == 5]
    first, last = wanted[0].prediction, wanted[-1].prediction
    drive_vpk = wanted[-1].drive_vpk
    rungs = [dataclasses.replace(wanted[0], prediction=p, drive_vpk=drive_vpk) for p in (first, last)]
    ratio = first.full_scale_vpp / last.full_scale_vpp
    gains = ((1000.0, 1001.0), (1000.0 * ratio * 1.002, 1001.0 * ratio * 1.002))
    extras = [
        ExtraMeasured(rung=rung, reason="", gain_codes_per_v=gains[place][number])
        for number in (0, 1)
        for place, rung in enumerate(rungs)
    ]
    (step,) = exact_steps_of(extras)
    assert (step.lower, step.upper) == (first.setting, last.setting)
    # ln 1.002; each side scatters by ln(1.001)/√2, of a mean of two 1/√2 of it, of two sides √2 of that.
    assert step.residual_percent == pytest.approx(0.1998, abs=1e-4)
    assert step.u_percent == pytest.approx(0.09995 / 2.0**0.5, rel=1e-3)
    lost = [dataclasses.replace(extra, gain_codes_per_v=None, reason="clipped") for extra in extras]
    assert exact_steps_of(lost) == ()
    assert exact_steps_of(extras[:2]) == ()
