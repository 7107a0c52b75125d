from __future__ import annotations

import pytest

from harness.drivers.profile import Commands, number_text
from harness.errors import ConfigError


def test_placeholders_are_filled(profile):
    commands = Commands(profile("device"))
    assert commands.messages("select_coarse", channel=2, full_scale_vpp="0.05") == ("INP2:RANG 0.05",)
    assert commands.messages("acquire", channel=3) == ("ACQ:CHAN 3", "INIT")
    assert commands.question("fine_query", channel=4) == "INP4:FINE?"


@pytest.mark.parametrize("role", ["source", "device", "adapter"])
def test_shipped_profiles_are_sound(profile, role):
    assert Commands(profile(role)).question("identify") == "*IDN?"


def test_all_problems_of_a_profile_at_once(profile):
    good = profile("source")
    broken = good.model_copy(
        update={
            "commands": {
                **good.commands,
                "level": "VOLT {volts}",
                "load": "OUTP:LOAD {ohm:.3f}",
                "frequency": "FREQ {hz",
                "level_query": ("VOLT?", "FREQ?"),
                "output_on": "",
            }
        }
    )
    with pytest.raises(ConfigError) as caught:
        Commands(broken)
    text = str(caught.value)
    assert len(caught.value.problems) == 5
    assert "Machair SG-1: commands.level: got {volts} in 'VOLT {volts}'; allowed: {level}" in text
    assert "commands.load: got {ohm:.3f}" in text
    assert "commands.frequency: got 'FREQ {hz' (expected '}' before end of string)" in text
    assert "commands.level_query: got 2 messages; allowed: one message" in text
    assert "commands.output_on: got an empty message; allowed: a command" in text


@pytest.mark.parametrize(("value", "text"), [(0.05, "0.05"), (20.0, "20"), (2125.0, "2125"), (1 / 3, "0.3333333333")])
def test_numbers_as_sent(value, text):
    assert number_text(value) == text


def test_placeholders_of_a_verb(profile):
    commands = Commands(profile("device"))
    assert commands.placeholders("select_coarse") == {"channel", "full_scale_vpp"}
    assert commands.placeholders("mode_query") == frozenset()
