"""Listening and scouting on benches that behave, and on such that do not."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from harness.config import SettingsFile, validate
from harness.errors import ConfigError, LearnError
from harness.learn import captures_of, gather_readings, hear, moves, range_scales_vpp
from harness.learn.obedience import fine_obeyed, fine_probe, ranges_obeyed
from harness.sweep import scout
from harness.values import Setting, Waveform
from tests.learn import session
from tests.learn.random_bench import MOST_VPK, RandomDevice, random_bench
from tests.learn.random_truth import Truth

TRUTH = Truth(24)


def visits(truth: Truth) -> tuple:
    return tuple(moves(truth.channels, len(truth.combos), truth.fine))


def test_every_range_and_many_positions_are_visited_for_each_channel() -> None:
    found = list(moves(2, 40, 100))
    assert {move.setting.channel for move in found} == {1, 2}
    assert {move.setting.coarse for move in found if move.rank is None} >= {0, 39}
    ranks = [move.rank for move in found if move.setting.channel == 1 and move.rank is not None]
    assert ranks == sorted(ranks)
    assert ranks[-1] == 99


def test_lines_latches_and_word_length_are_heard() -> None:
    bench = random_bench(TRUTH)
    heard = hear(captures_of(bench, visits(TRUTH)), minimum_pulse_ns=30.0, channels=TRUTH.channels)
    assert heard.wiring.data == bench.adapter.lines[bench.adapter.line(0)]
    assert heard.wiring.clock == bench.adapter.lines[bench.adapter.line(1)]
    assert heard.wiring.clock_rising == TRUTH.clock_rising
    assert heard.latches == {c: (bench.adapter.lines[bench.adapter.line(1 + c)],) for c in range(1, TRUTH.channels + 1)}
    assert {d.bits for d in heard.wiring.devices if d.latch in sum(heard.latches.values(), ())} == {TRUTH.word_bits}
    assert heard.troubles == ()


def test_nobody_listens_without_an_adapter() -> None:
    with pytest.raises(LearnError, match="nobody listens"):
        captures_of(dataclasses.replace(random_bench(TRUTH), adapter=None), visits(TRUTH))


def test_a_dead_latch_is_named_with_what_to_do() -> None:
    bench = random_bench(TRUTH)
    sent = bench.adapter.sent
    bench.adapter.sent = lambda bits, latch: sent("0" * len(bits), latch) if latch == 0 else sent(bits, latch)
    heard = hear(captures_of(bench, visits(TRUTH)), minimum_pulse_ns=30.0, channels=TRUTH.channels)
    assert any(text.startswith("channel 1: no word follows it: its latch is dead") for text in heard.troubles)


def test_a_line_on_which_nothing_ever_happens_is_named() -> None:
    bench = random_bench(TRUTH)
    sent, silent = bench.adapter.sent, bench.adapter.lines[bench.adapter.line(2)]
    bench.adapter.sent = lambda bits, latch: None if latch == 0 else sent(bits, latch)
    heard = hear(captures_of(bench, visits(TRUTH)), minimum_pulse_ns=30.0, channels=TRUTH.channels)
    assert f"no edge on {silent}: a latch that never comes, a wire that nobody drives" in heard.troubles[-1]


def test_a_silent_bus_says_which_answer_is_missing() -> None:
    bench = random_bench(TRUTH)
    bench.adapter.sent = lambda bits, latch: None
    heard = hear(captures_of(bench, visits(TRUTH)), minimum_pulse_ns=30.0, channels=TRUTH.channels)
    assert heard.wiring is None
    assert heard.troubles[0].startswith("clock: cannot tell")
    assert "share a ground" in heard.troubles[-1]


def found_of(bench: object, *, most_vpk: float = MOST_VPK) -> list:
    settings = session.settings_of(TRUTH)
    plan = session._plan(session._device(settings, range_scales_vpp(settings, {})), (), 1.0)
    plan = dataclasses.replace(plan, level_limit_vpk=most_vpk)
    return list(scout(bench, plan, [Setting(1, k, 0) for k in range(len(TRUTH.combos))]))


def test_gains_are_scouted_upward_and_the_source_is_off_afterwards() -> None:
    bench = random_bench(TRUTH)
    levels: list[float] = []
    set_level = bench.source.set_level
    bench.source.set_level = lambda level_vpk: levels.append(level_vpk) or set_level(level_vpk)
    found = found_of(bench)
    assert [one.gain_codes_per_v for one in found] == pytest.approx(
        [TRUTH.gain(1, k, 0) * TRUTH.arithmetic_ratio(k) for k in range(len(found))], rel=0.01
    )
    assert levels[0] == bench.source.min_vpk
    assert max(levels) <= MOST_VPK
    assert not bench.source.on


def test_a_source_too_weak_is_said_and_its_limit_kept() -> None:
    bench = random_bench(TRUTH)
    least = found_of(bench, most_vpk=0.002)[0]
    assert "the source is too weak" in least.trouble
    assert least.level_vpk <= 0.002


class Clipping(RandomDevice):
    """Clips whatever comes."""

    def acquire(self, channel: int, *beside: object) -> Waveform:
        wave = super().acquire(channel)
        return dataclasses.replace(wave, codes=np.where(np.arange(4000) % 40 < 20, -2048, 2047).astype(np.int16))


class Limiting(Clipping):
    """Clips from a quarter of the converter on."""

    def acquire(self, channel: int, *beside: object) -> Waveform:
        wave = RandomDevice.acquire(self, channel)
        return wave if np.ptp(wave.codes) < 1000 else super().acquire(channel)


class Autoranging(RandomDevice):
    """Halves its gain above a level."""

    def acquire(self, channel: int, *beside: object) -> Waveform:
        wave = super().acquire(channel)
        if np.ptp(wave.codes) <= 2000:
            return wave
        return dataclasses.replace(wave, codes=np.rint(wave.codes * 0.7).astype(np.int16))


def test_a_device_that_clips_at_once_is_said_to() -> None:
    bench = random_bench(TRUTH)
    clipping = dataclasses.replace(bench, device=Clipping(TRUTH, bench.source, bench.adapter))
    found = found_of(clipping)
    assert found[0].gain_codes_per_v is None
    assert "clips even at the least level" in found[0].trouble


def test_a_device_that_no_level_fits_is_told_with_the_levels_between() -> None:
    bench = random_bench(TRUTH)
    levels: list[float] = []
    set_level = bench.source.set_level
    bench.source.set_level = lambda level_vpk: levels.append(level_vpk) or set_level(level_vpk)
    found = found_of(dataclasses.replace(bench, device=Limiting(TRUTH, bench.source, bench.adapter)))
    assert {one.trouble.split()[0] for one in found} == {"clips"}
    assert all("V peak and fills too little at" in one.trouble for one in found)
    assert found[-1].level_vpk == levels[-1]


def test_a_device_that_ranges_by_itself_is_said_to() -> None:
    bench = random_bench(TRUTH)
    found = found_of(dataclasses.replace(bench, device=Autoranging(TRUTH, bench.source, bench.adapter)))
    assert "switch autoranging off" in found[0].trouble


class Deaf(RandomDevice):
    """Stays where it is, and says that it went."""

    def select(self, setting: Setting, *beside: object) -> None:
        super().select(Setting(setting.channel, 1, 0))


def test_a_device_that_ignores_its_range_command_is_said_to() -> None:
    bench = random_bench(TRUTH)
    found = found_of(dataclasses.replace(bench, device=Deaf(TRUTH, bench.source, bench.adapter)))
    gains = {one.setting: one.gain_codes_per_v for one in found}
    with pytest.raises(LearnError, match=r"all 2 ranges have the same gain .* not obeyed; mend it in the profile"):
        ranges_obeyed(gains, session.settings_of(TRUTH))


def test_two_ranges_with_one_gain_among_others_are_noted() -> None:
    tables = session.settings_of(TRUTH).model_dump(exclude_unset=True)
    tables["coarse"] = [{"name": name} for name in ("a", "b", "c")]
    known = validate(SettingsFile, tables, file="x")
    gains = {Setting(1, k, 0): gain for k, gain in enumerate((5.0, 5.01, 50.0))}
    assert ranges_obeyed(gains, known) == ["b has the gain of a: is the command for the range obeyed?"]
    with pytest.raises(LearnError, match=r"range c has less gain .* reorder"):
        ranges_obeyed({**gains, Setting(1, 2, 0): 1.0}, known)


def test_a_fine_position_that_changes_nothing_is_said() -> None:
    known = session.settings_of(TRUTH)
    probe = fine_probe(known)
    assert probe == Setting(1, len(known.coarse) // 2, len(known.fine_names) - 1)
    with pytest.raises(LearnError, match=r"has the gain of .* fine position is not obeyed"):
        fine_obeyed(100.0, 100.2, known, heard=False)
    with pytest.raises(LearnError, match=r"words follow the command on the bus.*is its latch dead\?"):
        fine_obeyed(100.0, 100.2, known, heard=True)
    fine_obeyed(100.0, 101.0, known, heard=True)
    fine_obeyed(None, 100.0, known, heard=False)


def test_readings_without_a_bus_have_gains_and_no_words() -> None:
    settings = session.settings_of(TRUTH, probed=False)
    _, device, readings, ratio = session.measured(TRUTH, settings)
    gathered = gather_readings(readings, device=device, wiring=None, latches={}, input_ratio=ratio)
    assert all(one.words == () and one.gain_codes_per_v for one in gathered.observed)
    assert gathered.unread == gathered.unheard == ()


def test_a_channel_without_a_latch_is_left_out_and_named() -> None:
    settings = session.settings_of(TRUTH)
    heard, device, readings, ratio = session.measured(TRUTH, settings)
    without = {**heard.latches, 1: ()} if TRUTH.channels > 1 else {1: (), 2: ("x",)}
    gathered = gather_readings(readings, device=device, wiring=heard.wiring, latches=without, input_ratio=ratio)
    assert gathered.unheard[0] == (Setting(1, 0, 0), "no word follows its channel")


def test_a_setting_whose_frame_is_not_sound_does_not_get_the_word_of_the_one_before() -> None:
    settings = session.settings_of(TRUTH)
    heard, device, readings, ratio = session.measured(TRUTH, settings)
    adapter = random_bench(TRUTH).adapter
    adapter.sent("101", 0)
    short = adapter.fetch()
    other = dataclasses.replace(short, lines=tuple(f"{line}-else" for line in short.lines))
    spoilt = {Setting(1, 0, 3): short, Setting(1, 0, 7): other}
    changed = [dataclasses.replace(r, capture=spoilt.get(r.setting, r.capture)) for r in readings]
    gathered = gather_readings(
        changed, device=device, wiring=heard.wiring, latches=heard.latches, input_ratio=ratio
    )
    assert gathered.unheard == tuple((s, f"no whole word under {heard.latches[1][0]}") for s in spoilt)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"coarse": []}, r"\[\[coarse\]\] and \[fine\]"),
        ({"set_by": "adapter"}, r"\[words\] and neither"),
        ({"set_by": "adapter", "coarse": [], "fine": None, "words": {"bits": 8}}, r"\[probed\] with data, clock"),
        ({"coarse": [{"name": "a"}, {"name": "a"}]}, "each name once"),
        ({"coarse": [{"name": n, "full_scale_vpp": v} for n, v in (("a", 1.0), ("b", 2.0))]}, "least sensitive first"),
        ({"words": {"bits": 4, "first": 9, "last": 3}}, "first below last"),
        ({"words": {"bits": 4, "first": 3, "last": 9, "step": 7}}, "step up to 6: one word alone tells nothing"),
        ({"profile": "other.toml"}, "profile"),
    ],
)
def test_a_settings_file_that_contradicts_itself(change: dict, says: str) -> None:
    tables = session.settings_of(TRUTH).model_dump(exclude_unset=True) | change
    with pytest.raises(ConfigError, match=says):
        validate(SettingsFile, {key: value for key, value in tables.items() if value is not None}, file="settings")
