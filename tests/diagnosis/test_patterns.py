"""Each pattern on synthetic observations of one unit, and none of them on a healthy one."""

from __future__ import annotations

import dataclasses
import math
import random
from collections.abc import Callable
from pathlib import Path

import pytest

from harness.app.setup import read_setup
from harness.diagnosis import FACTORS, Observation, candidates
from harness.diagnosis.candidates import DEVICE_PROVEN, DEVICE_TESTS
from harness.values import Realness

SETUP = read_setup(str(Path(__file__).resolve().parents[2] / "configs" / "jobs" / "ci.toml"))
CODE = SETUP.device.firmware.code
Error = Callable[[Observation], float]
"""Relative error of the gain, G/L - 1."""


def healthy(channels: tuple[int, ...] = (1, 2), spread_percent: float = 0.8, seed: int = 3) -> list[Observation]:
    generator = random.Random(seed)
    found = []
    for setting, _ in SETUP.planned():
        if setting.channel not in channels:
            continue
        prediction = SETUP.law.predict(setting)
        controls = dict(prediction.state.controls)
        found.append(
            Observation(
                setting=setting,
                controls=controls,
                relays=SETUP.law.relays_of(controls),
                residual_percent=generator.uniform(-spread_percent, spread_percent),
                expected_word=prediction.state.word.value,
                captured_word=prediction.state.word.value,
                capture_sound=True,
                realness=Realness.ARITHMETIC if prediction.state.arithmetic_ratio > 1.0 else Realness.HARDWARE,
                declared_ratio=prediction.state.arithmetic_ratio,
            )
        )
    return found


def wrong(observations: list[Observation], error: Error, *, channel: int = 2) -> list[Observation]:
    """One channel with an error added to its spread."""
    return [
        dataclasses.replace(o, residual_percent=(o.residual_percent or 0.0) + 100.0 * math.log1p(error(o)))
        if channel in (0, o.setting.channel)
        else o
        for o in observations
    ]


def named(observations: list[Observation], notes: tuple[str, ...] = ()) -> list[str]:
    found = candidates(observations, code_control=CODE, notes=notes)
    assert all(c.why and c.test for c in found)
    return [c.fault for c in found]


@pytest.mark.parametrize("seed", range(20))
def test_nothing_is_named_on_a_healthy_unit(seed: int) -> None:
    assert named(healthy(seed=seed)) == []
    assert named(healthy(channels=(1,), seed=seed)) == []


@pytest.mark.parametrize("residual_percent", [None, 0.0])
def test_nothing_is_named_without_numbers(residual_percent: float | None) -> None:
    assert named([]) == []
    assert named([dataclasses.replace(o, residual_percent=residual_percent) for o in healthy()]) == []
    assert named([dataclasses.replace(o, residual_percent=residual_percent) for o in healthy()[:1]]) == []


def stuck(bit: int, level: int) -> Error:
    """The gain is proportional to the code: a stuck bit adds or takes exactly its weight."""

    def error(o: Observation) -> float:
        code = int(o.controls[CODE])
        have = (code >> bit) & 1
        return (level - have) * 2**bit / code

    return error


@pytest.mark.parametrize("bit", [3, 4, 5, 6])
@pytest.mark.parametrize(("level", "name"), [(0, "data-bit-stuck-low"), (1, "data-bit-stuck-high")])
def test_a_stuck_bit_is_named_with_its_number_and_channel(bit: int, level: int, name: str) -> None:
    found = candidates(wrong(healthy(spread_percent=0.3), stuck(bit, level)), code_control=CODE)
    assert found[0].fault == name
    assert f"bit {bit}" in found[0].why
    assert found[0].why.startswith("channel 2: ")
    assert found[0].test == f"level at data input bit {bit} of the gain device"


def attenuator(state: str, factor: float) -> Error:
    return lambda o: factor - 1.0 if o.controls["attenuator"] == state else 0.0


@pytest.mark.parametrize(
    ("state", "factor", "name", "relay"),
    [
        ("1:10", 10.0, "relay-not-picking", "K1"),
        ("1:100", 100.0, "relay-not-picking", "K2"),
        ("1:10", 1.06, "attenuator-resistor-wrong", "K1"),
        ("1:100", 0.9, "attenuator-resistor-wrong", "K2"),
    ],
)
def test_a_block_of_ranges_is_their_relay_or_its_resistors(state: str, factor: float, name: str, relay: str) -> None:
    found = candidates(wrong(healthy(), attenuator(state, factor)), code_control=CODE)
    assert [c.fault for c in found] == [name]
    assert f"every range that needs {relay} is off by ×" in found[0].why


def test_a_block_of_pre_gain_settings_is_the_pre_gain() -> None:
    error: Error = lambda o: 0.06 if o.controls["pregain"] == 1 else 0.0  # noqa: E731
    assert named(wrong(healthy(), error)) == ["pregain-ratio-wrong"]
    both = candidates(wrong(healthy(), error, channel=0), code_control=CODE)
    assert [c.fault for c in both] == ["pregain-ratio-wrong"]
    assert "channel 1: " in both[0].why
    assert "; channel 2: " in both[0].why


@pytest.mark.parametrize(
    ("factor", "name"), [(2.0, "load-resistor-missing"), (1.3, "load-resistor-wrong"), (0.5, "load-resistor-wrong")]
)
def test_one_factor_on_one_channel_is_its_load(factor: float, name: str) -> None:
    assert named(wrong(healthy(), lambda o: factor - 1.0)) == [name]


def test_a_pattern_that_only_some_of_a_block_show_is_not_named() -> None:
    error: Error = lambda o: 0.06 if o.controls["attenuator"] == "1:10" and o.setting.fine else 0.0  # noqa: E731
    assert named(wrong(healthy(), error)) == []


def test_a_latch_that_never_fires_outranks_the_gain() -> None:
    observations = [
        dataclasses.replace(o, captured_word=None, residual_percent=50.0) if o.setting.channel == 2 else o
        for o in healthy()
    ]
    found = candidates(observations, code_control=CODE)
    assert [c.fault for c in found] == ["latch-missing"]
    assert "channel 2: the bus carries words, this channel's latch never fires" in found[0].why
    # A capture that is missing says nothing about the latch.
    deaf = [dataclasses.replace(o, captured_word=None, capture_sound=False) for o in healthy()]
    assert named(deaf) == []


def test_undeclared_arithmetic_is_counted_declared_is_not() -> None:
    observations = [
        dataclasses.replace(o, realness=Realness.ARITHMETIC) if o.setting.channel == 2 and o.setting.fine else o
        for o in healthy()
    ]
    found = candidates(observations, code_control=CODE)
    assert [c.fault for c in found] == ["fine-gain-arithmetic"]
    # 4 of the 5 fine positions of each of the 10 ranges that are declared hardware.
    assert "channel 2: 40 settings change their gain without a new word" in found[0].why


def everywhere(factor: float) -> list[Observation]:
    return wrong(healthy(), lambda o: factor - 1.0, channel=0)


@pytest.mark.parametrize(
    ("factor", "faults"),
    [
        (2.0, ["load-resistor-missing", "source-load-mis-set"]),
        (0.5, ["source-load-mis-set", "load-resistor-missing"]),
        (2.0 / 3.0, ["terminator-wrong"]),
        (2.0 * math.sqrt(2.0), ["unit-mix-up"]),
        (10.0, ["relay-not-picking", "probe-factor-wrong"]),
        (0.1, ["probe-factor-wrong", "relay-not-picking"]),
        (2.5, ["relay-drivers-swapped"]),
        (1.7, ["load-resistor-wrong", "reference-wrong"]),
        (1.04, ["load-resistor-wrong", "reference-wrong"]),
    ],
)
def test_one_factor_on_everything_names_all_that_cannot_be_told_apart(factor: float, faults: list[str]) -> None:
    assert named(everywhere(factor)) == faults


def test_the_devices_own_noise_puts_the_device_first() -> None:
    found = candidates(everywhere(0.5), code_control=CODE, notes=(f"the {DEVICE_PROVEN}, so",))
    assert [c.fault for c in found] == ["load-resistor-missing", "source-load-mis-set"]
    assert "the device's own noise moved with it" in found[0].why


def test_words_say_whether_one_channel_or_all_were_seen() -> None:
    one = candidates([o for o in everywhere(2.0) if o.setting.channel == 1], code_control=CODE)
    assert one[0].why.startswith("all settings of the one channel tested are off by ×")
    assert candidates(everywhere(2.0), code_control=CODE)[0].why.startswith("all settings of all channels")


def test_at_most_three_are_shown() -> None:
    observations = healthy()
    for state, factor in (("1:10", 10.0), ("1:100", 100.0)):
        observations = wrong(observations, attenuator(state, factor), channel=1)
        observations = wrong(observations, lambda o: 0.06 if o.controls["pregain"] == 1 else 0.0, channel=2)
    assert len(named(observations)) <= 3


@pytest.mark.parametrize("code", [0, "a", None])
def test_a_code_that_is_no_number_or_zero_has_no_bits_to_look_at(code: object) -> None:
    observations = [
        dataclasses.replace(o, controls={**o.controls, CODE: code} if code is not None else {"pregain": 0})
        for o in wrong(healthy(), attenuator("1:10", 1.5))
    ]
    assert named(observations) == ["attenuator-resistor-wrong"]


def test_every_device_fault_of_the_factors_has_a_test_that_tells_it_apart() -> None:
    assert {row.device_fault for row in FACTORS if row.device_fault} == set(DEVICE_TESTS)
    assert all(row.station_fault or row.device_fault for row in FACTORS)
