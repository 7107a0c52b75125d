"""The story page of a learned device."""

from __future__ import annotations

import dataclasses
import math

import pytest

from harness.errors import NotFinite
from harness.report import learned_html
from harness.report.figures.word_raster import rasters
from harness.values import (
    LearnedBit,
    LearnedDevice,
    LearnedFact,
    LearnedLaw,
    LearnedLine,
    LearnedSetting,
    LearnedStage,
    LearnedStep,
    Realness,
    Setting,
)


def setting(coarse: int, fine: int, *, channel: int = 1) -> LearnedSetting:
    """Gain 10 for each code, ten times as much in the upper range, by arithmetic there."""
    code, ratio = 2 + fine, 10.0**coarse
    return LearnedSetting(
        setting=Setting(channel, coarse, fine), label=f"ch{channel} r{coarse} p{fine}", word=f"{code:X}",
        bits=f"{code:04b}", outside="", code=code, measured_codes_per_v=10.1 * code * ratio,
        law_codes_per_v=10.0 * code * ratio, u_percent=0.7, residual_percent=1.0,
        realness=Realness.ARITHMETIC if coarse else Realness.HARDWARE, arithmetic_ratio=ratio,
        why="only every 10. code is used" if coarse else "",
    )  # fmt: skip


def device() -> LearnedDevice:
    rows = tuple(setting(coarse, fine) for coarse in (0, 1) for fine in range(4))
    return LearnedDevice(
        name="Box <1>", source="run x", channels=1, ranges=("r0", "r1"), fine=("p0", "p1", "p2", "p3"),
        law="gain proportional to the code", sure="known", left_percent=0.5, settings=rows,
        steps=(LearnedStep(setting=Setting(1, 0, 1), label="ch1 r0 p1", measured_db=3.53, law_db=3.52),),
        lines=(LearnedLine(name="brown", role="", evidence="nothing on it could be told"),),
        bits=tuple(LearnedBit(place=k, moves="fine" if k else "never", meaning="number") for k in range(4)),
        laws=(LearnedLaw(shape="linear-code", behind=0.0, left_out_percent=None, parameters=1, chosen=True),),
        stages=(LearnedStage(name="gain", kind="linear-code", sure="known", notes=("a note",)),),
        facts=(LearnedFact(sure="unknown", text="The order of the stages."),),
        listened=(("clock", "red", "counted"),), alike=(("r0 and r1", "evidence"),),
    )  # fmt: skip


def test_everything_that_is_known_stands_on_the_page() -> None:
    page = learned_html(device(), software="1")
    for text in (
        "Box &lt;1&gt;, as learned", "Gain proportional to the code", "The order of the stages.", "explains none",
        "unknown</td><td>nothing on it could be told", "r0 and r1", "ch1 r1 p3: arithmetic ×10; only every 10. code",
        "ch1 r0 p2: 40.400 codes/V, word 4, number 4; the law leaves +1.000 %",
        "by the law +3.5200 dB", "stated u 0.7 %",
    ):  # fmt: skip
        assert text in page
    assert page == learned_html(device(), software="1")


def test_without_words_law_or_gains_the_page_is_whole() -> None:
    """What is missing has no section, and no figure that says nothing."""
    rows = tuple(
        dataclasses.replace(
            row, word="", bits="", code=None, measured_codes_per_v=None, law_codes_per_v=None, u_percent=None,
            residual_percent=None,
        )
        for row in device().settings
    )  # fmt: skip
    bare = dataclasses.replace(
        device(), settings=rows, bits=(), lines=(), laws=(), steps=(), law="", sure="", left_percent=None
    )
    page = learned_html(bare, software="1")
    assert "No law explains the 0 measured gains." in page
    assert "None could be fitted." in page
    assert 'id="words"' not in page
    assert 'id="bus"' not in page


def test_channels_with_the_same_words_share_a_raster() -> None:
    other = [
        dataclasses.replace(row, setting=dataclasses.replace(row.setting, channel=2)) for row in device().settings
    ]  # fmt: skip
    same = dataclasses.replace(device(), settings=(*device().settings, *other))
    assert [names for names, _ in rasters(same)] == ["ch1, ch2"]
    other[0] = dataclasses.replace(other[0], bits="1111")
    differs = dataclasses.replace(same, settings=(*device().settings, *other))
    assert [names for names, _ in rasters(differs)] == ["ch1", "ch2"]


def test_a_bar_of_the_raster_spans_the_settings_that_have_the_bit_set() -> None:
    """Bit 1 of codes 2, 3, 4, 5 is set at 4 and 5: columns 2, 3 and 6, 7 of eight, 12 wide."""
    ((_, svg),) = rasters(device())
    assert f'M{210 + 24:.1f} {10 + 15 + 2}h24.0' in svg
    assert f'M{210 + 72:.1f} {10 + 15 + 2}h24.0' in svg


def test_a_number_that_is_not_finite_is_refused() -> None:
    rows = (dataclasses.replace(device().settings[0], residual_percent=math.nan), *device().settings[1:])
    with pytest.raises(NotFinite, match=r"settings\[0\].residual_percent"):
        learned_html(dataclasses.replace(device(), settings=rows), software="1")
