"""The [simulation] section: every bad key is named."""

from __future__ import annotations

import pytest

from harness.errors import ConfigError


def problems(make_desk, *pairs):
    def change(text):
        for old, new in pairs:
            assert old in text
            text = text.replace(old, new, 1)
        return text

    with pytest.raises(ConfigError) as caught:
        make_desk(change=change)
    return [str(problem) for problem in caught.value.problems]


def test_all_bad_keys_at_once_with_their_paths(make_desk):
    found = problems(
        make_desk,
        ("dnl_lsb = 0.3", "dnl_lsb = 1.5"),
        ("bounce_s = 0.002", 'bounce_s = "long"'),
        ("digits = 4", "digits = 4\ncolour = 3"),
    )
    assert len(found) == 3
    assert "simulated.toml: simulation.unit.converter.dnl_lsb: got 1.5 (float); allowed: less than 1" in found
    assert any(text.startswith("simulated.toml: simulation.unit.timing.bounce_s: got 'long' (str)") for text in found)
    assert any("simulation.source.colour: got an unknown key; allowed: one of" in text for text in found)


def test_an_unknown_table_and_an_unknown_device(make_desk):
    assert (
        "simulation.physics: got an unknown key; allowed: one of adapter, aggressor, chamber, climate, lot, meter, "
        "pad, probe, source, supply, unit"
        in (problems(make_desk, ("[simulation.source]", "[simulation.physics]\nx = 1\n[simulation.source]"))[0])
    )
    assert problems(make_desk, ('device = "skerry-hr-4"', 'device = "skerry"')) == [
        "simulated.toml: simulation.device: got 'skerry'; allowed: one of corrie-ur-2, skerry-hr-4, tarn-vg-1"
    ]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('attenuator = "1:10" }', 'attenuator = "1:20" }', "range.attenuator one of 1:1, 1:10, 1:100"),
        ('relay = { "1:1" = "", ', "relay = { ", "in gain.relay exactly the states of gain.attenuator_ratio"),
        ("power_on_code = 128", "power_on_code = 256", "gain.power_on_code below 256"),
        (
            '"latch-4", "latch-bias"]',
            '"latch-bias"]',
            "bus.lines: data, clock, a latch for each channel, the bias latch",
        ),
    ],
)
def test_tables_that_do_not_fit_together(make_desk, old, new, words):
    assert words in problems(make_desk, (old, new))[0]


def test_a_bench_without_simulation(make_desk):
    def cut(text):
        text = text[: text.index("\n[simulation]\n")]
        for role in ("source", "device", "adapter"):
            text = text.replace(f"[{role}]", f'[{role}]\naddress = "a"\nserial = "s"')
        return text

    with pytest.raises(ConfigError, match=r"simulated.toml: simulation: got nothing; allowed: a \[simulation\] table"):
        make_desk(change=cut)


def test_a_bare_section_is_enough(make_desk):
    desk = make_desk(change=lambda text: text[: text.index("[simulation.source]")])
    assert desk.ask("device", "*IDN?") == "Skerry,HR-4,SK000001,1.0"
