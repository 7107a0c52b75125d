"""Every fault changes what it should, and nothing else."""

from __future__ import annotations

import numpy as np
import pytest

from harness.errors import UsageError
from harness.simulated import FaultEntry, catalogue

SETTINGS = [(20.0, 100), (10.0, 64), (5.0, 40), (2.0, 70), (0.5, 40), (0.2, 100), (0.05, 76), (0.02, 40), (0.01, 100)]
CHANNELS = (1, 2, 3, 4)


def truths(make_desk, *faults, channels=CHANNELS):
    """Settled gain, register and word by channel and setting."""
    desk = make_desk(*faults)
    result = {}
    for setting in SETTINGS:
        for channel in channels:
            desk.select(channel, *setting)
            front_end = desk.world.device.front_ends[channel]
            result[channel, setting] = (front_end.gain_codes_per_v(), front_end.register, front_end.plan.word)
    return result


@pytest.fixture(scope="module")
def healthy():
    cache = {}

    def get(make_desk):
        if not cache:
            cache.update(truths(make_desk))
        return cache

    return get


def ratios(make_desk, healthy, *faults):
    good, bad = healthy(make_desk), truths(make_desk, *faults)
    return {key: bad[key][0] / good[key][0] for key in good}, good, bad


def test_a_stuck_bit_takes_its_weight_where_it_is_set(make_desk, healthy):
    ratio, good, bad = ratios(make_desk, healthy, "data-bit-stuck-low:2=6")
    for key, value in ratio.items():
        word = good[key][2]
        assert bad[key][2] == word, "the word on the bus stays right"
        if key[0] == 2 and word & 64:
            assert bad[key][1] == word - 64
            assert value == pytest.approx((word % 256 - 64) / (word % 256), rel=2e-3)
        else:
            assert value == 1.0
    assert {value == 1.0 for (channel, _), value in ratio.items() if channel == 2} == {True, False}


def test_the_default_stuck_bit_is_4_on_all_channels(make_desk, healthy):
    ratio, good, bad = ratios(make_desk, healthy, "data-bit-stuck-low")
    assert {key for key, value in ratio.items() if value != 1.0} == {key for key in good if good[key][2] & 16}
    assert all(not bad[key][1] & 16 for key in bad)


@pytest.mark.parametrize(
    ("text", "attenuated", "factor"), [("=1", (2.0, 0.5), 10), ("=2", (20.0, 10.0, 5.0), 100), ("", (2.0, 0.5), 10)]
)
def test_a_relay_that_does_not_pick_shows_on_its_ranges(make_desk, healthy, text, attenuated, factor):
    ratio, good, bad = ratios(make_desk, healthy, f"relay-not-picking{text}")
    for (channel, setting), value in ratio.items():
        assert value == pytest.approx(factor if setting[0] in attenuated else 1.0, rel=2e-3), (channel, setting)
        assert bad[channel, setting][1:] == good[channel, setting][1:]
        if setting[0] not in attenuated:
            assert value == 1.0


def test_a_wrong_pregain_shows_where_the_pregain_is_on(make_desk, healthy):
    ratio, good, bad = ratios(make_desk, healthy, "pregain-ratio-wrong:3=-2.5")
    for key, value in ratio.items():
        expected = 0.975 if key[0] == 3 and good[key][2] & 256 else 1.0
        assert value == pytest.approx(expected, rel=1e-12)
        assert bad[key][1:] == good[key][1:]
    default, _, _ = ratios(make_desk, healthy, "pregain-ratio-wrong")
    assert sorted({round(value, 9) for value in default.values()}) == [1.0, 1.05]


def test_a_missing_load_resistor_doubles_everything(make_desk, healthy):
    ratio, _, _ = ratios(make_desk, healthy, "load-resistor-missing")
    assert set(ratio.values()) == {2.0}
    ratio, _, _ = ratios(make_desk, healthy, "load-resistor-missing:1=1.02")
    assert {round(value, 9) for (channel, _), value in ratio.items() if channel == 1} == {1.02}
    assert {value for (channel, _), value in ratio.items() if channel != 1} == {1.0}


def test_a_missing_latch_freezes_the_gain_at_the_power_on_word(make_desk, healthy):
    _, good, bad = ratios(make_desk, healthy, "latch-missing:4")
    for key in good:
        assert bad[key][2] == good[key][2]
        assert bad[key][1] == (128 if key[0] == 4 else good[key][1])
    gains = {setting: bad[4, setting][0] for setting in SETTINGS}
    # Only relays (and the arithmetic of the last range) still act.
    assert gains[0.2, 100] == gains[0.05, 76] == gains[0.02, 40] == gains[0.01, 100] / 2
    assert gains[20.0, 100] == gains[5.0, 40]


def test_a_missing_latch_leaves_no_edge_on_the_bus(make_desk):
    lines = {}
    for faults in ((), ("latch-missing:2",)):
        desk = make_desk(*faults)
        desk.ask("adapter", "ARM")
        desk.select(1, 2, 70)
        events = np.frombuffer(desk.block("adapter", "FETCH?")[16:-4], "<u8")
        levels = (events & np.uint64(255)).astype(int)
        lines[faults] = [int(np.sum(np.diff(levels >> line & 1) == 1)) for line in range(1, 7)]
    # Two bursts of 48 clocks, a latch for each of the five devices.
    assert lines[()] == [96, 2, 2, 2, 2, 2]
    assert lines["latch-missing:2",] == [96, 2, 0, 2, 2, 2]


def test_arithmetic_fine_gain_keeps_the_word_and_multiplies_codes(make_desk, healthy):
    _, good, bad = ratios(make_desk, healthy, "fine-gain-arithmetic:1")
    desk = make_desk()
    for setting in SETTINGS:
        desk.select(1, setting[0], 100)
        first = desk.world.device.front_ends[1]
        assert bad[1, setting][1:] == (first.register, first.plan.word)
        assert bad[1, setting][0] == pytest.approx(desk.truth() * 100 / setting[1], rel=1e-12)
        assert bad[2, setting] == good[2, setting]


def test_arithmetic_fine_gain_leaves_gaps_in_the_codes(make_desk):
    desk = make_desk("fine-gain-arithmetic")
    desk.drive(3.0)
    desk.select(1, 10, 40)
    codes = desk.codes()
    # round(2.5 k): of five neighbouring codes only two exist.
    possible = set(np.rint(2.5 * np.arange(-820, 821)).astype(int).tolist())
    assert set(codes.tolist()) <= possible
    assert np.ptp(codes) > 1200
    scale = float(desk.ask("device", "FETC:SCAL?"))
    assert desk.gain(vpp=3.0) * scale == pytest.approx(1.0, abs=0.013)


def test_faults_add_up_and_noise_stays_the_same(make_desk):
    desk = make_desk("pregain-ratio-wrong:1=5", "load-resistor-missing:1")
    good = make_desk()
    for bench in (desk, good):
        bench.select(1, 0.05, 40)
        bench.select(2, 0.05, 40)
    assert desk.truth(1) / good.truth(1) == pytest.approx(2.1)
    assert desk.codes(2).tobytes() == good.codes(2).tobytes()


def test_the_source_stuck_at_50_ohm_doubles_the_level_and_says_so(make_desk):
    desk, good = make_desk("source-load-mis-set"), make_desk()
    gains = []
    for bench in (desk, good):
        bench.drive(5.0)
        bench.select(1, 20, 100)
        gains.append(bench.gain(vpp=5.0))
    assert desk.ask("source", "OUTP:LOAD?") == "50"
    assert good.ask("source", "OUTP:LOAD?") == "9.9E+37"
    assert desk.errors("source") == []
    # The decade of the source may differ: 0.2 %.
    assert gains[0] / gains[1] == pytest.approx(2.0, rel=0.003)
    assert desk.truth() == good.truth()
    assert desk.ask("source", "VOLT? MAX") == "10"


@pytest.mark.parametrize("ohm", [25.0, 50.0, 51.0])
def test_a_terminator_on_the_cable_loads_the_source_and_does_not_say_so(make_desk, ohm):
    desk, good = make_desk(f"source-load-mis-set={ohm:g}"), make_desk()
    gains = []
    for bench in (desk, good):
        bench.drive(10.0)
        bench.select(1, 20, 100)
        gains.append(bench.gain(vpp=10.0))
    assert desk.ask("source", "OUTP:LOAD?") == "9.9E+37"
    load = 1 / (1 / 250e3 + 1 / ohm)
    assert gains[0] / gains[1] == pytest.approx(load / (load + 50) * 250_050 / 250_000, rel=5e-4)


def test_every_entry_of_the_catalogue_can_be_injected(make_desk):
    for entry in catalogue():
        assert isinstance(entry, FaultEntry)
        if entry.needs:
            continue
        make_desk(entry.name)
        make_desk(entry.id)
        if entry.roles:
            make_desk(f"{entry.name}:{entry.roles[-1]}~0.5@7")
        elif entry.takes_channel:
            make_desk(f"{entry.name}:1~0.5@7")
        if entry.default_size is not None:
            make_desk(f"{entry.name}={entry.default_size!r}")
        for place in entry.places:
            make_desk(f"{entry.name}/{place}")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("relay-not-piking", "'relay-not-piking' is unknown; nearest: relay-not-picking"),
        ("zzz", "known: data-bit-stuck-low, data-bit-stuck-high"),
        ("zzz", "and 89 more; `gainladder faults` lists them all"),
        ("latch-missing:5", "got channel '5'; allowed is 1 to 4"),
        ("latch-missing:", "got channel ''; allowed is 1 to 4"),
        ("latch-missing:x", "got channel 'x'"),
        ("source-load-mis-set:1", "fault of the station and takes no channel"),
        ("latch-missing=1", "got size '1'; it takes no size"),
        (
            "data-bit-stuck-low=8",
            "got size '8'; allowed is a whole number from 0 to 7 (bit, 0 is the least significant)",
        ),
        ("data-bit-stuck-low=1.5", "allowed is a whole number"),
        ("data-bit-stuck-low=", "got size ''"),
        ("relay-not-picking=3", "from 1 to 2"),
        ("pregain-ratio-wrong=nan", "got size 'nan'; allowed is a number from -90 to 900"),
        ("load-resistor-missing=two", "got size 'two'"),
        ("source-load-mis-set=0", "true load on the cable, ohm"),
        ("reply-late:1", "got '1'; allowed is source, device, adapter, or none for all"),
        ("disk-full:1", "got channel '1'; it is a fault of the whole bench and takes no channel"),
        ("latch-missing/wire", "got place 'wire'; allowed is pin or bus"),
        ("load-resistor-missing/pin", "got place 'pin'; allowed is no place: leave out the slash"),
        ("data-bits-swapped=1,8", "got size '8'; allowed is a whole number from 0 to 7 (the other bit)"),
        ("reference-wrong=1,99", "got size '99'; allowed is a number from -50 to 50 (drift, percent"),
        ("pregain-ratio-wrong=1,2", "got second size '2'; it takes one number only"),
        ("latch-missing~2", "got chance '2'; allowed is a number from 0 to 1, for each event"),
        ("latch-missing~often", "got chance 'often'"),
        ("latch-missing@0", "got record '0'; allowed is a whole number from 1 on"),
        ("latch-missing:1@", "got record ''"),
    ],
)
def test_a_fault_text_that_cannot_be_carried_out_says_what_is_allowed(make_desk, text, words):
    with pytest.raises(UsageError) as caught:
        make_desk(text)
    assert words in str(caught.value)
