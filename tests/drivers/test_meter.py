from __future__ import annotations

import math

import pytest

from harness.bench import Meter
from harness.drivers import MeterDriver
from harness.errors import BadReply, InstrumentReported


@pytest.fixture
def rig(profile, slot, pushed_clock, scripted_link):
    answers = {
        "*IDN?": b"Cairn,AM-2,CA000012,1.0\n",
        "*OPC?": b"1\n",
        "SYST:ERR?": b'0,"No error"\n',
        "READ?": b"0.5\n",
    }
    link = scripted_link(lambda message: answers.get(message, b""))
    return MeterDriver(link, profile("meter"), slot(), pushed_clock), answers, link


def test_it_is_a_meter_and_prepares_itself(rig):
    driver, _, link = rig
    assert isinstance(driver, Meter)
    driver.prepare()
    assert link.sent == ["*CLS", "FUNC AC", "*OPC?", "SYST:ERR?"]


def test_volts_rms_become_volts_peak(rig):
    driver, answers, link = rig
    assert driver.read_level() == pytest.approx(0.5 * math.sqrt(2.0), rel=1e-12)
    assert link.sent == ["READ?", "SYST:ERR?"]
    answers["READ?"] = b"0\n"
    assert driver.read_level() == 0.0


@pytest.mark.parametrize(
    ("reply", "words"),
    [
        (b"9.9E37\n", "'9.9E37'; allowed: a finite number"),
        (b"9.91E+37\n", "allowed: a finite number"),
        (b"OVLD\n", "'OVLD'; allowed: a finite number"),
        (b"-0.25\n", "'-0.25'; allowed: a level in vrms, 0 or more"),
    ],
)
def test_what_is_no_level_is_refused_and_the_link_suspect(rig, reply, words):
    driver, answers, _ = rig
    answers["READ?"] = reply
    with pytest.raises(BadReply, match=words):
        driver.read_level()


def test_an_error_beside_a_reading_counts(rig):
    driver, answers, _ = rig
    answers["SYST:ERR?"] = b'-200,"Execution error"\n'
    with pytest.raises((InstrumentReported, BadReply)):
        driver.read_level()
