"""A settings file made of what a device tells, and held against it."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from harness.config import SettingsFile, validate
from harness.learn.asked import completed, contradictions, least_limit, told_problems, volts
from harness.values import Surveyed, SurveyedConverter, SurveyedInput
from tests.learn.random_truth import Truth
from tests.learn.session import settings_of

TOLD = Surveyed(
    channels=2, coarse=(0.2, 20.0, 2.0), fine=(40.0, 70.0, 100.0), coarse_is_scale=True, fine_is_percent=True,
    converter=SurveyedConverter(bits=12, low_code=-2048, high_code=2047, codes_per_v=2000.0),
    input=SurveyedInput(impedance_ohm=1e6, max_vpk=30.0),
)  # fmt: skip


def tables(**changes: Any) -> dict[str, Any]:
    given = settings_of(Truth(11)).model_dump(exclude_unset=True)
    del given["channels"], given["coarse"], given["fine"], given["converter"]
    return given | changes


def test_what_a_file_leaves_out_is_taken_from_the_device_least_sensitive_first() -> None:
    settings = validate(SettingsFile, completed(tables(), TOLD), file="x")
    assert settings.range_names == ("20V", "2V", "200mV")
    assert settings.fine_names == ("100 %", "70 %", "40 %")
    assert (settings.channels, settings.converter.codes_per_v) == (2, 2000.0)


def test_what_a_file_says_stays() -> None:
    settings = validate(SettingsFile, completed(tables(channels=1), TOLD), file="x")
    assert settings.channels == 1


def test_names_and_decibels_keep_the_order_of_the_device() -> None:
    told = dataclasses.replace(
        TOLD, coarse=("low", 20.0), fine=(0.0, 1.0, 2.0), coarse_is_scale=False, fine_is_percent=False
    )
    settings = validate(SettingsFile, completed(tables(), told), file="x")
    assert settings.range_names == ("low", "20")
    assert settings.fine_names == ("+0 dB", "+1 dB", "+2 dB")


@pytest.mark.parametrize(("scale_v", "name"), [(20.0, "20V"), (0.5, "500mV"), (1.0, "1V"), (2e-6, "2uV")])
def test_ranges_are_named_by_their_scale(scale_v: float, name: str) -> None:
    assert volts(scale_v) == name


@pytest.mark.parametrize(
    ("changes", "key", "says"),
    [
        ({"coarse": ("low", 20.0)}, "coarse_list_query", "full scales above 0"),
        ({"coarse": (20.0, 0.0)}, "coarse_list_query", "full scales above 0"),
        ({"fine": (100.0, 50.0, 0.0)}, "fine_list_query", "above 0 %"),
        ({"fine": (100.0, 70.0, 50.0)}, "fine_list_query", "steps of one size; or give a settings file with [fine]"),
    ],
)
def test_an_answer_that_no_settings_file_can_hold_is_told(changes: dict[str, Any], key: str, says: str) -> None:
    found = list(told_problems(dataclasses.replace(TOLD, **changes), device="box"))
    assert [(one.key, says in one.allowed) for one in found] == [(key, True)]


def test_a_file_may_leave_out_some_of_what_the_device_has() -> None:
    few = tables(channels=1, coarse=[{"name": "a", "full_scale_vpp": 2.0}],
                 fine={"first_percent": 100.0, "last_percent": 40.0, "count": 2})  # fmt: skip
    settings = validate(SettingsFile, completed(few, TOLD), file="x")
    assert list(contradictions(settings, TOLD, file="x")) == []
    assert list(contradictions(settings, Surveyed(), file="x")) == []


@pytest.mark.parametrize(
    ("changes", "key", "allowed"),
    [
        ({"channels": 3}, "channels", "up to 2"),
        ({"coarse": [{"name": "a", "full_scale_vpp": 5.0}]}, "coarse[0]", "what the device lists: 0.2, 20, 2"),
        ({"coarse": [{"name": "a"}]}, "coarse[0]", "what the device lists"),
        ({"coarse": [{"name": "a", "value": "low"}]}, "coarse[0]", "what the device lists"),
        ({"fine": {"first_percent": 100.0, "last_percent": 50.0, "count": 2}}, "fine", "40, 70, 100"),
        ({"fine": {"first_db": 0.0, "last_db": 6.0, "count": 3}}, "fine", "40, 70, 100"),
        ({"converter": {"bits": 8, "low_code": -128, "high_code": 127, "codes_per_v": 100.0}}, "converter", "12 bits"),
        ({"input": {"impedance_ohm": 50.0, "limit": [{"impedance_ohm": 50.0, "max_vpk": 5.0}]}},
         "input.impedance_ohm", "what the device says: 1e+06"),
    ],
)  # fmt: skip
def test_a_file_that_names_what_the_device_lacks_is_told(changes: dict[str, Any], key: str, allowed: str) -> None:
    settings = validate(SettingsFile, completed(tables(**changes), TOLD), file="x")
    found = list(contradictions(settings, TOLD, file="given.toml"))
    assert [one.key for one in found] == [key]
    assert allowed in found[0].allowed


def test_the_lowest_of_all_limits_holds() -> None:
    table, who = least_limit(1e6, {"user": None, "file": 30.0, "device": 20.0})
    assert (table["limit"], who) == ([{"impedance_ohm": 1e6, "max_vpk": 20.0}], "device")
