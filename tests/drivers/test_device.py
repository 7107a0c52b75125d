from __future__ import annotations

import struct

import numpy as np
import pytest

from harness.errors import BadReply, BenchError, InstrumentReported, ReadBackDiffers, ReadTimeout
from harness.values import Setting


def sent(link, *heads):
    return [message for message in link.sent if message.startswith(heads)]


def test_prepare_sets_plain_samples_and_parks_every_channel(device_rig):
    driver, instrument, link = device_rig
    driver.prepare()
    assert link.sent[:7] == [
        "*CLS", "ACQ:MODE SAMP", "ACQ:POIN 4000", "ACQ:SRAT 500000", "*OPC?", "SYST:ERR?", "ACQ:MODE?",
    ]  # fmt: skip
    assert [instrument.values[f"INP{channel}:RANG"] for channel in (1, 2, 3, 4)] == ["20"] * 4
    assert [instrument.values[f"INP{channel}:FINE"] for channel in (1, 2, 3, 4)] == ["100"] * 4


def test_select_sends_names_of_the_device_and_reads_back(device_rig):
    driver, _, link = device_rig
    assert driver.select(Setting(2, 8, 20)) == (("coarse", "0.05"), ("fine", "40"))
    assert link.sent == [
        "INP2:RANG 0.05", "INP2:FINE 40", "*OPC?", "SYST:ERR?", "INP2:RANG?", "INP2:FINE?",
    ]  # fmt: skip


def test_a_known_coarse_is_not_sent_again(device_rig):
    driver, _, link = device_rig
    driver.select(Setting(1, 3, 0))
    driver.select(Setting(2, 3, 0))
    driver.select(Setting(1, 3, 1))
    assert sent(link, "INP1:RANG ", "INP2:RANG ") == ["INP1:RANG 2", "INP2:RANG 2"]
    assert sent(link, "INP1:RANG?") == ["INP1:RANG?"] * 2


@pytest.mark.parametrize("trouble", ["timeout", "reported", "resynchronised"])
def test_after_trouble_the_coarse_is_sent_again(device_rig, trouble):
    driver, instrument, link = device_rig
    driver.select(Setting(1, 3, 0))
    if trouble == "timeout":
        link.failures = [("read_line", ReadTimeout("late"))]
        with pytest.raises(ReadTimeout):
            driver.select(Setting(1, 3, 1))
        driver.resynchronise()
    elif trouble == "reported":
        instrument.errors = ['-222,"Data out of range"']
        with pytest.raises(InstrumentReported, match="-222"):
            driver.select(Setting(1, 3, 1))
    else:
        driver.resynchronise()
    link.sent.clear()
    driver.select(Setting(1, 3, 1))
    assert link.sent[0] == "INP1:RANG 2"


@pytest.mark.parametrize(("query", "words"), [("INP1:RANG?", "set 20, reads back"), ("INP1:FINE?", "set 100, reads")])
def test_another_setting_read_back_differs(device_rig, query, words):
    driver, instrument, _ = device_rig
    instrument.overrides[query] = b"10\n"
    with pytest.raises(ReadBackDiffers, match=words) as caught:
        driver.select(Setting(1, 0, 0))
    assert caught.value.command == query


@pytest.mark.parametrize("reply", [b"9.91E37\n", b"nan\n"])
def test_no_number_passes_as_a_setting(device_rig, reply):
    driver, instrument, _ = device_rig
    instrument.overrides["INP1:RANG?"] = reply
    with pytest.raises(ReadBackDiffers, match="set 20, reads back"):
        driver.select(Setting(1, 0, 0))


def test_a_setting_that_is_no_number_is_a_bad_reply(device_rig):
    driver, instrument, _ = device_rig
    instrument.overrides["INP1:FINE?"] = b"full\n"
    with pytest.raises(BadReply, match="got 'full'; allowed: a number"):
        driver.select(Setting(1, 0, 0))


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        (Setting(0, 0, 0), "no such channel: 0; allowed: 1 to 4"),
        (Setting(5, 0, 0), "no such channel: 5"),
        (Setting(1, 11, 0), "no such coarse: 11; allowed: 0 to 10"),
        (Setting(1, 0, -1), "no such fine: -1; allowed: 0 to 20"),
    ],
)
def test_a_setting_that_does_not_exist_is_not_sent(device_rig, setting, words):
    driver, _, link = device_rig
    with pytest.raises(BenchError, match=words):
        driver.select(setting)
    assert link.sent == []


def test_acquire_hands_over_a_row_of_its_own(device_rig):
    driver, _, link = device_rig
    waveform = driver.acquire(3)
    assert link.sent[:2] == ["FETC:SEQ?", "ACQ:CHAN 3"]
    assert waveform.codes[:4].tolist() == [0x060A, -2048, 2047, 1]
    assert waveform.codes.dtype == np.int16
    assert waveform.codes.flags.c_contiguous
    assert waveform.codes.flags.owndata
    assert not waveform.codes.flags.writeable
    assert (waveform.sample_rate_hz, waveform.scale_v_per_code) == (500000.0, 4.8828e-3)
    assert (waveform.sequence, waveform.mode) == (8, "sample")
    assert driver.acquire(3).sequence == 9


def test_big_endian_codes(device_rig, profile, slot, device_file, pushed_clock):
    from harness.drivers import DeviceDriver

    _, instrument, link = device_rig
    swapped = profile("device").model_copy(update={"code_type": "int16-big"})
    payload = struct.pack(">4000h", *[0x060A, -2048, 2047, 1] * 1000)
    instrument.overrides["FETC:CODE?"] = b"#48000" + payload + b"\n"
    waveform = DeviceDriver(link, swapped, slot(), device_file, pushed_clock).acquire(1)
    assert waveform.codes[:4].tolist() == [0x060A, -2048, 2047, 1]


def test_codes_that_no_converter_has_are_no_record(device_rig, profile, slot, device_file, pushed_clock):
    from harness.drivers import DeviceDriver

    _, _, link = device_rig
    swapped = profile("device").model_copy(update={"code_type": "int16-big"})
    cropped = device_file.converter.model_copy(update={"beyond_screen": False})
    device = device_file.model_copy(update={"converter": cropped})
    driver = DeviceDriver(link, swapped, slot(), device, pushed_clock)
    # 06 0A, 00 F8, FF 07 and 01 00 the other way round: 2566, 248, -249 and 256.
    with pytest.raises(BadReply, match=r"got codes from -249 to 2566; allowed: -2048 to 2047, .* is code_type right\?"):
        driver.acquire(1)


def test_a_record_may_hold_products_beyond_the_screen_where_the_device_file_says_so(
    device_rig, profile, slot, device_file, pushed_clock
):
    from harness.drivers import DeviceDriver

    _, instrument, link = device_rig
    for beyond, top, allowed in ((True, 8191, "-8192 to 8191"), (False, 2047, "-2048 to 2047")):
        converter = device_file.converter.model_copy(update={"beyond_screen": beyond})
        device = device_file.model_copy(update={"converter": converter})
        driver = DeviceDriver(link, profile("device"), slot(), device, pushed_clock)
        for highest in (top, top + 1):
            payload = struct.pack("<4000h", *[-top - 1, highest] * 2000)
            instrument.overrides["FETC:CODE?"] = b"#48000" + payload + b"\n"
            if highest == top:
                assert driver.acquire(1).codes.max() == top
            else:
                with pytest.raises(BadReply, match=f"allowed: {allowed}, the codes .* and of its products"):
                    driver.acquire(1)


def test_an_unchanged_counter_is_a_stale_record(device_rig):
    driver, instrument, _ = device_rig
    driver.acquire(1)
    instrument.stale = True
    with pytest.raises(ReadBackDiffers, match="stale record: the acquisition counter still stands at 8"):
        driver.acquire(1)


def test_a_counter_that_is_no_number_is_a_bad_reply(device_rig):
    driver, instrument, _ = device_rig
    instrument.overrides["FETC:SEQ?"] = b"x\n"
    with pytest.raises(BadReply, match="got 'x'; allowed: a whole number"):
        driver.acquire(1)


def test_a_short_record_is_a_bad_reply(device_rig):
    driver, instrument, _ = device_rig
    instrument.samples = 3999
    with pytest.raises(BadReply, match="got 7998 bytes of codes; allowed: 4000 samples of 2 bytes"):
        driver.acquire(1)


def test_another_rate_differs(device_rig):
    driver, instrument, _ = device_rig
    instrument.overrides["ACQ:SRAT?"] = b"250000\n"
    with pytest.raises(ReadBackDiffers, match="set 500000 Hz, reads back 250000 Hz"):
        driver.acquire(1)


def test_a_scale_that_is_not_a_number_is_a_bad_reply(device_rig):
    driver, instrument, _ = device_rig
    instrument.overrides["FETC:SCAL?"] = b"9.91E37\n"
    with pytest.raises(BadReply, match="allowed: a finite number"):
        driver.acquire(1)


def test_another_mode_is_refused_at_prepare_and_told_with_a_record(device_rig):
    driver, instrument, _ = device_rig
    instrument.overrides["ACQ:MODE?"] = b"AVER\n"
    assert driver.acquire(1).mode == "aver"
    with pytest.raises(ReadBackDiffers, match="set plain samples, reads back 'aver'"):
        driver.prepare()


def test_the_deadline_of_a_record_is_longer_by_its_length(device_rig):
    driver, instrument, link = device_rig
    seen = []
    usual = instrument.__class__.__call__

    def watch(message):
        seen.append((message, link.patience_s))
        return usual(instrument, message)

    link.handle = watch
    driver.acquire(1)
    assert dict(seen)["*OPC?"] == pytest.approx(1.0 + 4000 / 500e3)
    assert link.patience_s == 1.0
    instrument.overrides["*OPC?"] = b""
    with pytest.raises(ReadTimeout):
        driver.acquire(1)
    assert link.patience_s == 1.0


def renamed(device_file, **coarse):
    """The device with a first range of another name, and fine positions in dB."""
    first = device_file.coarse[0].model_copy(update=coarse)
    fine = device_file.fine.model_copy(
        update={"first_percent": None, "last_percent": None, "first_db": 0.0, "last_db": 20.0, "count": 41}
    )
    return device_file.model_copy(update={"coarse": (first, *device_file.coarse[1:]), "fine": fine})


def in_db(profile):
    whole = profile("device")
    named = {"select_coarse": "INP{channel}:RANG {coarse}", "select_fine": "INP{channel}:FINE {fine}"}
    return whole.model_copy(update={"commands": {**whole.commands, **named}})


def test_positions_in_db_and_a_range_by_its_own_value(device_rig, profile, slot, device_file, pushed_clock):
    from harness.drivers import DeviceDriver

    _, _, link = device_rig
    driver = DeviceDriver(link, in_db(profile), slot(), renamed(device_file, value=0.0), pushed_clock)
    assert driver.select(Setting(1, 0, 0)) == (("coarse", "0"), ("fine", "0"))
    assert driver.select(Setting(1, 0, 7)) == (("coarse", "0"), ("fine", "3.5"))
    # Without a value of its own a range goes by its full scale.
    assert driver.select(Setting(1, 1, 40)) == (("coarse", "10"), ("fine", "20"))
    assert sent(link, "INP1:RANG ", "INP1:FINE ") == [
        "INP1:RANG 0", "INP1:FINE 0", "INP1:FINE 3.5", "INP1:RANG 10", "INP1:FINE 20",
    ]  # fmt: skip


def test_a_zero_that_reads_back_otherwise_differs(device_rig, profile, slot, device_file, pushed_clock):
    from harness.drivers import DeviceDriver

    _, instrument, link = device_rig
    driver = DeviceDriver(link, in_db(profile), slot(), renamed(device_file, value=0.0), pushed_clock)
    instrument.overrides["INP1:RANG?"] = b"0.001\n"
    with pytest.raises(ReadBackDiffers, match=r"set 0, reads back 0\.001"):
        driver.select(Setting(1, 0, 0))


def test_a_range_named_by_a_word(device_rig, profile, slot, device_file, pushed_clock):
    from harness.drivers import DeviceDriver

    _, instrument, link = device_rig
    driver = DeviceDriver(link, in_db(profile), slot(), renamed(device_file, value="LOW"), pushed_clock)
    assert driver.select(Setting(1, 0, 0))[0] == ("coarse", "LOW")
    instrument.overrides["INP1:RANG?"] = b'"low"\n'
    assert driver.select(Setting(1, 0, 1))[0] == ("coarse", '"low"')
    instrument.overrides["INP1:RANG?"] = b"HIGH\n"
    with pytest.raises(ReadBackDiffers, match="set LOW, reads back HIGH"):
        driver.select(Setting(1, 0, 0))
