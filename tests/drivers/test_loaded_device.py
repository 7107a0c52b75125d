"""A bare gain stage: its words go through the adapter, a profile without setting commands is enough."""

from __future__ import annotations

import pytest

from harness.bench.conformance import check_device
from harness.drivers import DeviceDriver, LoadedDeviceDriver
from harness.errors import BenchError, ConfigError, InstrumentReported, LinkLost, ReadTimeout
from harness.values import ControlWord, Setting

SETTING = ("select_coarse", "coarse_query", "select_fine", "fine_query")


@pytest.fixture
def bare_profile(profile):
    """A profile without commands for the gain."""
    whole = profile("device")
    kept = {verb: text for verb, text in whole.commands.items() if verb not in SETTING}
    return whole.model_copy(update={"commands": kept})


@pytest.fixture
def rig(device_rig, adapter_rig, bare_profile, slot, device_file, pushed_clock):
    """Driver, device link, adapter, adapter link."""
    _, instrument, link = device_rig
    adapter, adapter_instrument, adapter_link = adapter_rig
    words = {
        Setting(channel, coarse, fine): ControlWord(f"latch-{channel}", 9, 21 * coarse + fine)
        for channel in (1, 2, 3, 4)
        for coarse in range(11)
        for fine in range(21)
    }
    driver = LoadedDeviceDriver(
        link, bare_profile, slot(), device_file, pushed_clock, adapter=adapter, words=words
    )
    driver.rest = (instrument, link, adapter_instrument, adapter_link)
    return driver


def test_select_loads_the_word_of_the_setting_each_time(rig):
    _, link, _, adapter_link = rig.rest
    for _ in range(2):
        assert rig.select(Setting(2, 3, 4)) == (("word", "latch-2:043"),)
    assert adapter_link.sent == ["LOAD latch-2 9 43", "SYST:ERR?"] * 2
    assert link.sent == []


def test_prepare_makes_records_plain_and_loads_the_least_sensitive_words(rig):
    _, link, _, adapter_link = rig.rest
    rig.prepare()
    assert link.sent[:4] == ["*CLS", "ACQ:MODE SAMP", "ACQ:POIN 4000", "ACQ:SRAT 500000"]
    assert adapter_link.sent[::2] == [f"LOAD latch-{channel} 9 0" for channel in (1, 2, 3, 4)]


def test_it_keeps_the_contract_of_a_device(rig):
    check_device(rig)


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        (Setting(5, 0, 0), "no such channel: 5; allowed: 1 to 4"),
        (Setting(1, 11, 0), "no such coarse: 11; allowed: 0 to 10"),
        (Setting(1, 0, 21), "no such fine: 21; allowed: 0 to 20"),
    ],
)
def test_a_setting_that_does_not_exist_is_not_loaded(rig, setting, words):
    with pytest.raises(BenchError, match=words):
        rig.select(setting)
    assert rig.rest[3].sent == []


@pytest.mark.parametrize("words", [{}, {Setting(1, 0, 0): ControlWord("", 0, 0)}])
def test_a_setting_without_a_word_is_refused(rig, bare_profile, slot, device_file, pushed_clock, words):
    bare = LoadedDeviceDriver(
        rig.rest[1], bare_profile, slot(), device_file, pushed_clock, adapter=rig._adapter, words=words
    )
    with pytest.raises(BenchError, match=r"no control word is known for Setting\(channel=1.*needs a \[bus\]"):
        bare.select(Setting(1, 0, 0))


def test_a_refused_word_is_told(rig):
    _, _, adapter_instrument, _ = rig.rest
    adapter_instrument.overrides["LOAD latch-1 9 0"] = b"ERR\n"
    adapter_instrument.errors = ['-222,"Data out of range"']
    with pytest.raises(InstrumentReported, match="-222, Data out of range"):
        rig.select(Setting(1, 0, 0))


def test_resynchronise_makes_the_adapters_link_sound_too(rig):
    _, _, _, adapter_link = rig.rest
    adapter_link.failures = [("read_line", ReadTimeout("late"))]
    with pytest.raises(ReadTimeout):
        rig.select(Setting(1, 0, 0))
    with pytest.raises(LinkLost, match="suspect since 'LOAD latch-1 9 0' failed"):
        rig.select(Setting(1, 0, 0))
    rig.resynchronise()
    assert rig.select(Setting(1, 0, 0)) == (("word", "latch-1:000"),)


def test_records_are_those_of_any_device(rig):
    assert rig.acquire(1).sequence == 8


def test_the_adapter_stays_open_when_the_device_is_closed(rig):
    rig.close()
    assert rig.rest[1].closed
    assert not rig.rest[3].closed


def test_a_device_set_by_commands_needs_them(device_rig, bare_profile, slot, device_file, pushed_clock):
    with pytest.raises(ConfigError) as caught:
        DeviceDriver(device_rig[2], bare_profile, slot(), device_file, pushed_clock)
    assert str(caught.value) == (
        "Skerry HR-4: commands: got no setting; allowed: select_coarse, coarse_query, select_fine, fine_query, "
        'or set_by = "adapter" in the device file Skerry HR-4'
    )
