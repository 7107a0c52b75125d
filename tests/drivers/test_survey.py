"""A device asked what it is: answers that can be used, and such that cannot."""

from __future__ import annotations

import pytest

from harness.config import InstrumentFile, InstrumentSlot, parse
from harness.drivers import SurveyDriver
from harness.drivers.survey import split_list
from harness.errors import BadReply, ConfigError, InstrumentReported
from harness.simulated import JumpClock
from harness.values import SurveyedConverter, SurveyedInput
from tests.drivers.conftest import ROOT, ScriptedLink

ANSWERS = {
    "ACQ:CHAN:COUN?": "2",
    "INP1:RANG:LIST?": "20,2,0.2",
    "INP2:RANG:LIST?": "20,2,0.2",
    "INP1:FINE:LIST?": "100,70,40",
    "INP2:FINE:LIST?": "100,70,40",
    "ACQ:CONV?": "12,-2048,2047,2000",
    "INP1:LIM?": "1E+06,30",
    "INP2:LIM?": "1E+06,25",
    "SYST:ERR?": '0,"No error"',
}
TEXT = (ROOT / "configs/instruments/skerry-hr-4.toml").read_text()


def surveyor(text: str = TEXT, **changed: str) -> tuple[SurveyDriver, ScriptedLink]:
    """`changed`: by the question without colons and marks."""
    answers = {question: changed.get(question.strip("?").replace(":", "_"), say) for question, say in ANSWERS.items()}
    link = ScriptedLink(lambda message: (answers[message] + "\n").encode())
    profile = parse(InstrumentFile, text, file="profile")
    return SurveyDriver(link, profile, InstrumentSlot(profile="x"), JumpClock()), link


def test_a_device_tells_its_settings_its_converter_and_its_least_limit() -> None:
    driver, link = surveyor()
    told = driver.survey()
    assert (told.channels, told.coarse, told.fine) == (2, (20.0, 2.0, 0.2), (100.0, 70.0, 40.0))
    assert told.coarse_is_scale
    assert told.fine_is_percent
    assert told.converter == SurveyedConverter(bits=12, low_code=-2048, high_code=2047, codes_per_v=2000.0)
    assert told.input == SurveyedInput(impedance_ohm=1e6, max_vpk=25.0)
    assert all(message.endswith("?") for message in link.sent)


def test_quoted_names_may_hold_commas() -> None:
    driver, _ = surveyor(INP1_RANG_LIST='"20 V, dc","2 V"', INP2_RANG_LIST='"20 V, dc","2 V"')
    assert driver.survey().coarse == ("20 V, dc", "2 V")
    assert split_list("a, 'b,c'") == ["a", "'b,c'"]


def test_a_list_that_is_asked_without_a_channel_is_asked_once() -> None:
    driver, link = surveyor(TEXT.replace("INP{channel}:FINE:LIST?", "INP1:FINE:LIST?"))
    driver.survey()
    assert link.sent.count("INP1:FINE:LIST?") == 1


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"ACQ_CHAN_COUN": "0"}, "got '0'; allowed: a number of channels, 1 to 64"),
        ({"ACQ_CHAN_COUN": "two"}, "got 'two'; allowed: a number of channels"),
        ({"INP1_RANG_LIST": ""}, "got ''; allowed: numbers or quoted names with commas between.*'' is none"),
        ({"INP1_RANG_LIST": "20,,2"}, "each once, 1 to 10000 of them; '' is none"),
        ({"INP1_RANG_LIST": "20,2,2.0"}, "2.0 comes twice"),
        ({"INP1_RANG_LIST": '"a","A"'}, '"A" comes twice'),
        ({"INP1_FINE_LIST": "100,seventy"}, "allowed: finite numbers with commas.*'seventy' is none"),
        ({"INP1_FINE_LIST": "100,9.91E37"}, "'9.91E37' is none"),
        ({"INP1_FINE_LIST": ",".join(map(str, range(10_001)))}, "got '10001 entries'"),
        ({"INP2_RANG_LIST": "20,2"}, "got '20,2'; allowed: the list of channel 1"),
        ({"ACQ_CONV": "12,-2048,2047"}, "allowed: bits, lowest code, highest code, codes a volt"),
        ({"ACQ_CONV": "12.5,-2048,2047,2000"}, "three whole numbers"),
        ({"ACQ_CONV": "12,-2048,2047,0"}, "three whole numbers"),
        ({"INP1_LIM": "30"}, "got '30'; allowed: impedance in ohm and limit in V peak"),
        ({"INP1_LIM": "1E6,-3"}, "both above 0"),
        ({"INP2_LIM": "50,25"}, "the 1000000 ohm of channel 1: all inputs alike"),
    ],
)
def test_an_answer_that_cannot_be_used_is_told_with_its_question(changed: dict[str, str], says: str) -> None:
    driver, _ = surveyor(**changed)
    with pytest.raises(BadReply, match=says) as caught:
        driver.survey()
    assert caught.value.command.replace(":", "_").startswith(next(iter(changed)))


def test_a_question_that_the_device_does_not_know_is_told() -> None:
    driver, _ = surveyor(SYST_ERR='-113,"Undefined header"')
    with pytest.raises((InstrumentReported, BadReply), match="-113"):
        driver.survey()


def test_a_profile_asks_for_all_settings_or_for_none() -> None:
    without = TEXT.replace('fine_list_query = "INP{channel}:FINE:LIST?"\n', "")
    with pytest.raises(ConfigError, match="also fine_list_query"):
        surveyor(without)
