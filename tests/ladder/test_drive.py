"""Levels: by hand through each kind of wiring, fill within the job's limits, clamped, refused where impossible."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.config.bench_file import Wiring
from harness.config.job_file import Ladder
from harness.errors import ConfigError
from harness.ladder import input_ratio
from harness.ladder.drive import Drive


@pytest.mark.parametrize(
    ("source_ohm", "load_ohm", "told", "ratio"),
    [
        (50.0, 50.0, 50.0, 1.0),  # matched and told so: what is set arrives
        (50.0, 50.0, "high-z", 0.5),  # the terminator halves what a source told high-z puts out
        (50.0, 1e12, 50.0, 2.0),  # told 50 Ω into an open end: twice
        (50.0, 250e3, "high-z", 250e3 / 250050.0),
        (50.0, 250e3, 50.0, 2 * 250e3 / 250050.0),  # 1.9996: the classic mistake of load setting
        (600.0, 600.0, 600.0, 1.0),
        (50.0, 25.0, 50.0, 2.0 / 3.0),  # two terminators on one cable
        (75.0, 150.0, 75.0, 2.0 * 150.0 / 225.0),
    ],
)
def test_input_volts_per_set_volt(source_ohm: float, load_ohm: float, told: float | str, ratio: float) -> None:
    wiring = Wiring.model_validate({"source_ohm": source_ohm, "load_ohm": load_ohm, "told_ohm": told})
    assert input_ratio(wiring) == pytest.approx(ratio, rel=1e-9)


@given(source_ohm=st.floats(1.0, 1e3), load_ohm=st.floats(1.0, 1e7))
def test_told_the_truth_what_is_set_arrives(source_ohm: float, load_ohm: float) -> None:
    wiring = Wiring(source_ohm=source_ohm, load_ohm=load_ohm, told_ohm=load_ohm)
    assert input_ratio(wiring) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize(("pad_db", "ratio"), [(0.0, 1.0), (20.0, 0.1), (6.0206, 0.5), (40.0, 0.01)])
def test_a_pad_takes_its_share_of_the_input(pad_db: float, ratio: float) -> None:
    wiring = Wiring.model_validate({"source_ohm": 50.0, "load_ohm": 50.0, "told_ohm": 50.0, "pad_db": pad_db})
    assert input_ratio(wiring) == pytest.approx(ratio, rel=1e-6)


def test_limits_count_without_the_pad(workshop) -> None:
    # 10 V peak in front of a 20 dB pad is 1 V at the input: still a level that a device limit of 5 V peak forbids
    workshop.bench_data["wiring"]["pad_db"] = 20.0
    workshop.bench_data["uncertainty"]["pad"] = {"db": 0.02}
    workshop.device_data["input"]["limit"][0]["max_vpk"] = 5.0
    (rung,) = workshop.build(channels=[1], coarse=["1V"], fine=[0], directions=["up"], fill_target=0.6)
    assert rung.drive_vpk == pytest.approx(2.986, abs=1e-3)
    with pytest.raises(ConfigError, match=r"2V at 100 % needs 5\.9.* V peak .* \(the device's input limit\)"):
        workshop.build(channels=[1], coarse=["2V"], fine=[0], directions=["up"], fill_target=0.6, fill_low=0.55)


def test_levels_by_hand(workshop) -> None:
    levels = {rung.prediction.label: rung for rung in workshop.build(channels=[1], directions=["up"], fine=[0, 20])}
    # 20 V at 100 %: 0.75 · 4096 / 205.80392 / 2 = 7.463415 V at the input; · 250050 / 250000 = 7.464907 V at the source
    assert levels["ch1 20V 100 %"].drive_vpk == 7.465
    # 10 mV at 40 %: 1024000 codes/V; 0.75 · 4096 / 1024000 / 2 = 1.5 mV, 1.5003 mV at the source, 1.5 mV in 4 digits
    assert levels["ch1 10mV 40 %"].drive_vpk == 0.0015
    assert levels["ch1 20V 100 %"].fill_ratio == pytest.approx(0.75 * 7.465 / 7.464907, rel=1e-6)


def test_every_fill_is_near_its_target(workshop) -> None:
    for rung in workshop.build(fill_target=0.6):
        assert rung.fill_ratio == pytest.approx(0.6, rel=5e-4)  # four digits
        assert rung.drive_vpk == float(f"{rung.drive_vpk:.4g}")
        fill = 2 * rung.drive_vpk * (250e3 / 250050.0) * rung.prediction.gain_codes_per_v / 4096
        assert rung.fill_ratio == pytest.approx(fill, rel=1e-12)


@given(
    gain_codes_per_v=st.floats(1.0, 1e7), target=st.floats(0.1, 0.9), ratio=st.floats(0.1, 4.0), span=st.integers(4, 16)
)
def test_a_level_fills_the_converter_as_wanted(gain_codes_per_v: float, target: float, ratio: float, span: int) -> None:
    drive = Drive(least_vpk=1e-12, most_vpk=1e12, most_of="nobody", input_ratio=ratio, span_codes=2**span)
    level = drive.level(gain_codes_per_v, target)
    assert level.needed_vpk * ratio * gain_codes_per_v * 2 == pytest.approx(target * 2**span, rel=1e-12)
    assert level.fill_ratio == pytest.approx(target, rel=5.1e-4)


@pytest.mark.parametrize(("told", "ratio"), [("high-z", 1.0), (50.0, 2.0)])
def test_told_50_ohm_the_same_input_needs_half_the_setting(workshop, told: float | str, ratio: float) -> None:
    workshop.bench_data["wiring"]["told_ohm"] = told
    (rung,) = workshop.build(channels=[1], coarse=["1V"], fine=[0], directions=["up"])
    assert rung.drive_vpk * ratio == pytest.approx(0.3732454, rel=5e-4)  # 0.75 · 4096 / 4116.078 / 2 · 1.0002


@pytest.mark.parametrize(
    ("change", "limit_vpk", "who"),
    [
        (lambda w: setattr(w, "source_max_vpk", 4.0), "4 V peak", "(the source)"),
        (lambda w: w.bench_data.update(max_level_vpk=3.0), "3 V peak", "(the bench's max_level_vpk)"),
        (lambda w: w.device_data["input"]["limit"][0].update(max_vpk=2.0), "2 V peak", "(the device's input limit)"),
    ],
)
def test_a_range_above_what_may_be_put_out(workshop, change, limit_vpk: str, who: str) -> None:
    change(workshop)
    with pytest.raises(ConfigError) as caught:
        workshop.build(coarse=["1V", "20V"])
    (problem,) = caught.value.problems
    assert (problem.file, problem.key) == ("job.toml", "ladder.coarse[1]")
    assert "a range the source cannot drive: 20V at 100 % needs 7.465 V peak for a fill of 0.75" in problem.got
    assert f"at {limit_vpk} the fill is 0." in problem.got
    assert (
        f"fill 0.5 to 0.9 from 0.0005 V peak (the source) to {limit_vpk} {who}: leave the range out" in problem.allowed
    )


def test_every_undrivable_range_is_named(workshop) -> None:
    workshop.source_max_vpk = 0.3
    with pytest.raises(ConfigError) as caught:
        workshop.build()
    named = [problem.got.split(": ")[1].split(" at ")[0] for problem in caught.value.problems]
    assert named == ["20V", "10V", "5V", "2V"]  # 1 V needs 0.375 V for full target, fills 0.6 with 0.3 V
    assert {problem.key for problem in caught.value.problems} == {"ladder.coarse"}


def test_a_source_too_coarse_for_the_most_sensitive_range(workshop) -> None:
    workshop.source_min_vpk = 0.004
    with pytest.raises(ConfigError) as caught:
        workshop.build(coarse=["10mV"], fine=[0, 20])
    (problem,) = caught.value.problems
    assert "10mV at 40 % needs 0.0015 V peak" in problem.got
    assert "at 0.004 V peak the fill is 2" in problem.got


def test_a_clamped_level_is_taken_where_its_fill_is_allowed(workshop) -> None:
    workshop.source_max_vpk = 6.0
    (rung,) = workshop.build(channels=[1], coarse=["20V"], fine=[0], directions=["up"])
    assert rung.drive_vpk == 6.0
    assert rung.fill_ratio == pytest.approx(0.75 * 6.0 / 7.464907, rel=1e-6)


@pytest.mark.parametrize("limit", ["input", "bench"])
def test_limits_hold_with_the_load_gone(workshop, limit: str) -> None:
    # told 50 Ω, 3 V set are 6 V open, also where a terminator halves it again
    workshop.bench_data["wiring"].update(told_ohm=50.0, load_ohm=1e6)
    if limit == "input":
        workshop.device_data["input"]["limit"][0]["max_vpk"] = 6.0
    else:
        workshop.bench_data["max_level_vpk"] = 6.0
    (rung,) = workshop.build(channels=[1], coarse=["20V"], fine=[0], directions=["up"])
    assert rung.drive_vpk == 3.0
    workshop.bench_data["wiring"]["load_ohm"] = 50.0
    with pytest.raises(ConfigError, match=r"at 3 V peak the fill is 0\.301"):
        workshop.build(channels=[1], coarse=["20V"], fine=[0], directions=["up"])


def test_a_source_whose_least_is_above_what_is_permitted(workshop) -> None:
    workshop.source_min_vpk = 0.16
    workshop.bench_data["max_level_vpk"] = 0.15
    with pytest.raises(ConfigError, match="a range the source cannot drive: 1V at 100 %"):
        workshop.build(coarse=["1V"], fine=[0])


@pytest.mark.parametrize(
    ("wanted", "key", "got", "allowed"),
    [
        ({"coarse": ["20V", "3V"]}, "ladder.coarse[1]", "'3V'", "one of 20V, 10V, 5V, 2V, 1V, 500mV, 200mV"),
        ({"channels": [5]}, "ladder.channels[0]", "5", "1 to 4"),
        ({"channels": [1, 0]}, "ladder.channels[1]", "0", "1 to 4"),
        ({"fine": [0, 21]}, "ladder.fine[1]", "21", "0 to 20"),
        ({"fine": [-1]}, "ladder.fine[0]", "-1", "0 to 20"),
        ({"coarse": ["20V", "20V"]}, "ladder.coarse[1]", "'20V' again", "each once"),
        ({"channels": [2, 1, 2]}, "ladder.channels[2]", "2 again", "each once"),
    ],
)
def test_names_the_device_does_not_have(workshop, wanted: dict, key: str, got: str, allowed: str) -> None:
    with pytest.raises(ConfigError) as caught:
        workshop.build(**wanted)
    (problem,) = caught.value.problems
    assert (problem.file, problem.key, problem.got) == ("job.toml", key, got)
    assert allowed in problem.allowed


def test_all_wrong_names_at_once(workshop) -> None:
    with pytest.raises(ConfigError) as caught:
        workshop.build(channels=[9], coarse=["3V"], fine=[99])
    assert [p.key for p in caught.value.problems] == ["ladder.channels[0]", "ladder.coarse[0]", "ladder.fine[0]"]


def test_a_ladder_of_nothing(workshop) -> None:
    with pytest.raises(ConfigError) as caught:
        workshop.build_from(Ladder.model_construct(directions=()))
    assert str(caught.value) == (
        "job.toml: ladder: got no settings; allowed: one channel, range, fine position, direction"
    )
