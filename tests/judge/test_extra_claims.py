"""Claims on channel match, offset, noise, and on readings beside the ladder: closed forms."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterable

import numpy as np
import pytest
from scipy import stats

from harness.app.run import judge_of
from harness.app.setup import Setup, read_setup
from harness.judge.claims.repeatability import added_scatter
from harness.values import Judgement, Outcome, Purpose, Reading, ReadingStatus, Rung, RunResult
from tests.judge.run_builder import JOB, codes_of, healthy, outcomes, reading_of, reasons

PASS, FAIL, INVALID = Outcome.PASS, Outcome.FAIL, Outcome.INVALID
WHOLE = read_setup(JOB.replace("ci.toml", "validation.toml"))
COARSE = (0, 3, 9)
SETUP = dataclasses.replace(
    WHOLE,
    rungs=tuple(r for r in WHOLE.rungs if r.setting.coarse in COARSE and r.setting.fine == 20),
    extras=tuple(r for r in WHOLE.extras if r.setting.channel == 1),
)
Change = Callable[[Rung], float]


def record(rung: Rung, *, gain_ratio: float = 1.0, offset_code: float = 0.3, noise_code: float = 0.0) -> np.ndarray:
    """Codes of a rung beside the ladder: its sine, or the other channel's, or none; noise of exactly this rms."""
    acquisition = SETUP.device.acquisition
    t_s = np.arange(acquisition.samples) / acquisition.sample_rate_hz
    amplitude = rung.drive_vpk * SETUP.input_ratio * rung.prediction.gain_codes_per_v * gain_ratio
    sine = amplitude * np.sin(2 * np.pi * (rung.frequency_hz or acquisition.frequency_hz) * t_s + 0.7)
    if rung.aggressor is not None:
        sine = gain_ratio * rung.aggressor.amplitude_code * np.sin(2 * np.pi * rung.aggressor.frequency_hz * t_s)
    noise = np.random.default_rng(rung.index).standard_normal(t_s.size)
    noise = (noise - noise.mean()) / noise.std(ddof=1) * noise_code
    return np.round(sine + offset_code + noise).astype(np.int16)


def extra_of(rung: Rung, **size: float) -> Reading:
    made = reading_of(rung, purpose=rung.purpose, capture=None, capture_reason="not asked")
    other = rung.aggressor
    assert made.waveform is not None
    return dataclasses.replace(
        made,
        waveform=dataclasses.replace(made.waveform, codes=record(rung, **size)),
        frequency_hz=rung.frequency_hz or SETUP.device.acquisition.frequency_hz,
        aggressor_vpk=other.drive_vpk if other else 0.0,
        aggressor_hz=other.frequency_hz if other else 0.0,
    )


def run(
    purposes: Iterable[Purpose] = (), readings: Callable[[Rung], Reading | None] = extra_of, setup: Setup = SETUP
) -> RunResult:
    planned = tuple(rung for rung in setup.extras if rung.purpose in tuple(purposes))
    judge = judge_of(dataclasses.replace(setup, extras=planned))
    for rung in setup.rungs:
        judge.take(healthy(rung))
    for rung in planned:
        reading = readings(rung)
        if reading is not None:
            judge.take(reading)
    return judge.result()


def claims(result: RunResult, item: str) -> list[Judgement]:
    return [claim for claim in result.judgements if claim.item == item]


def test_what_the_job_does_not_measure_is_named_and_decides_nothing() -> None:
    result = run()
    assert result.verdict is PASS
    left_out = (
        "input-noise", "two-level", "polarity", "second-frequency", "toggle-scatter", "crosstalk", "clip-level",
        "missing-codes",
    )  # fmt: skip
    assert result.unmeasured == left_out
    assert result.notes[-1] == f"Not measured by this job, so nothing is said about: {', '.join(left_out)}."
    alone = dataclasses.replace(SETUP, rungs=tuple(r for r in SETUP.rungs if r.setting.channel == 1))
    assert run(setup=alone).unmeasured == ("channel-match", *left_out)


def test_a_planned_reading_that_is_missing_is_invalid_and_leaves_the_run_incomplete() -> None:
    result = run([Purpose.QUIET], lambda rung: None)
    assert result.verdict is INVALID
    assert not result.complete
    assert set(outcomes(result, "input-noise").values()) == {"INVALID"}
    assert reasons(result, "input-noise")[0] == "input-noise not measured: ch1 20mV 40 %: not read"


def test_two_levels_bend_by_the_ratio_of_their_gains() -> None:
    low = 1.0
    for bend, outcome in ((0.9985, PASS), (0.997, FAIL)):
        result = run(
            [Purpose.TWO_LEVEL],
            lambda rung, bend=bend: extra_of(rung, gain_ratio=bend if rung.fill_ratio > 0.6 else low),
        )
        found = claims(result, "two-level")
        assert len(found) == 3
        assert {claim.outcome for claim in found} == {outcome}
        # Rounding to codes leaves 0.3 codes in 800.
        assert [claim.measured for claim in found] == pytest.approx([100 * math.log(bend)] * 3, abs=0.01)
    assert "ch1 5V 100 %, fill 0.4 to 0.8: two-level off by -0.30" in " ".join(reasons(result, "two-level"))


def test_a_level_that_clips_leaves_two_levels_undecided() -> None:
    def clipped(rung: Rung) -> Reading:
        made = extra_of(rung)
        bad = rung.fill_ratio > 0.6
        status = ReadingStatus.INVALID if bad else ReadingStatus.VALID
        return dataclasses.replace(made, status=status, reason="clipped: 3 samples at a rail" if bad else "")

    result = run([Purpose.TWO_LEVEL], clipped)
    assert result.verdict is INVALID
    assert reasons(result, "two-level")[0].endswith(": clipped: 3 samples at a rail")


def beyond(rung: Rung, low: int, high: int, *, gain_ratio: float = 1.0) -> Reading:
    made = extra_of(rung, gain_ratio=0.5)
    assert made.waveform is not None
    codes = np.clip(record(rung, gain_ratio=gain_ratio), low, high).astype(np.int16)
    return dataclasses.replace(made, waveform=dataclasses.replace(made.waveform, codes=codes))


# A rail 20 % below full scale cuts positive peaks at 0.8 of it: 1638 of 2047 codes.
@pytest.mark.parametrize(
    ("low", "high", "percent", "outcome", "polarity"),
    [
        (-2048, 2047, 0.0, PASS, ""),
        (-2048, 1638, 100 * (1638 / 2047 - 1), FAIL, "positive"),
        (-1638, 2047, 100 * (1638 / 2048 - 1), FAIL, "negative"),
        (-2048, 1996, 100 * (1996 / 2047 - 1), PASS, ""),
    ],
)
def test_the_polarity_that_clips_earlier_counts(
    low: int, high: int, percent: float, outcome: Outcome, polarity: str
) -> None:
    result = run([Purpose.OVERDRIVEN], lambda rung: beyond(rung, low, high))
    found = claims(result, "clip-level")
    # Ten ranges at three fine positions but one beyond the level limit; the arithmetic range says nothing.
    assert (len(found), {c.setting.coarse for c in found if c.setting}) == (29, set(range(10)))
    assert [claim.measured for claim in found] == pytest.approx([percent] * 29, abs=0.03)
    assert {(claim.outcome, claim.unit, claim.expanded) for claim in found} == {(outcome, "percent", 1.0)}
    assert result.verdict is outcome
    if polarity:
        assert f"fill 1.2, {polarity} peaks: clip-level -20" in reasons(result, "clip-level")[0]


def test_codes_that_begin_at_zero_clip_as_signed_ones_do() -> None:
    converter = SETUP.device.converter.model_copy(update={"low_code": 0, "high_code": 4095})
    setup = dataclasses.replace(
        SETUP,
        device=SETUP.device.model_copy(update={"converter": converter}),
        rungs=(),
        extras=tuple(rung for rung in SETUP.extras if rung.purpose is Purpose.OVERDRIVEN)[:1],
    )

    def lifted(rung: Rung) -> Reading:
        made = beyond(rung, -2048, 1638)
        assert made.waveform is not None
        return dataclasses.replace(made, waveform=dataclasses.replace(made.waveform, codes=made.waveform.codes + 2048))

    (claim,) = claims(run([Purpose.OVERDRIVEN], lifted, setup), "clip-level")
    assert claim.measured == pytest.approx(100 * (1638 / 2047 - 1), abs=0.03)


def test_a_record_that_never_reached_its_ends_leaves_the_clip_level_open() -> None:
    result = run([Purpose.OVERDRIVEN], lambda rung: beyond(rung, -2048, 2047, gain_ratio=0.7))
    assert {claim.outcome for claim in claims(result, "clip-level")} == {INVALID}
    assert "the record stands still at neither end" in reasons(result, "clip-level")[0]


def test_the_second_frequency_is_held_against_the_response_of_the_device_file() -> None:
    def at(rung: Rung) -> float:
        if not rung.frequency_hz:
            return 1.0
        state = dict(rung.prediction.state.controls)
        gain = (4.0 if state["pregain"] else 1.0) * int(state["code"]) * 128 / 255 * 0.5
        per_hz = math.hypot(1 / 2.0e6, gain / 1.0e8)
        return math.hypot(1, 2125 * per_hz) / math.hypot(1, rung.frequency_hz * per_hz)

    good = run([Purpose.SECOND_FREQUENCY], lambda rung: extra_of(rung, gain_ratio=at(rung)))
    assert [c.measured for c in claims(good, "second-frequency")] == pytest.approx([0.0] * 4, abs=0.01)
    # A missing compensation: 5 percent more at the second frequency on the 1:10 state alone.
    def unsound(rung: Rung) -> Reading:
        missing = rung.frequency_hz and rung.setting.coarse == 3
        return extra_of(rung, gain_ratio=at(rung) * (1.05 if missing else 1.0))

    bent = run([Purpose.SECOND_FREQUENCY], unsound)
    by_coarse = {c.setting.coarse: (c.outcome, c.measured) for c in claims(bent, "second-frequency") if c.setting}
    assert by_coarse[3] == (FAIL, pytest.approx(100 * math.log(1.05), abs=0.01))
    assert {outcome for coarse, (outcome, _) in by_coarse.items() if coarse != 3} == {PASS}
    assert "ch1 2V 100 % at 99875 Hz: second-frequency off by +4.88 percent" in reasons(bent, "second-frequency")[0]


def test_noise_with_the_source_off_is_referred_to_the_input() -> None:
    result = run([Purpose.QUIET], lambda rung: extra_of(rung, noise_code=3.0, offset_code=7.0))
    found = {c.setting.coarse: c for c in claims(result, "input-noise") if c.setting}
    assert sorted(found) == [9, 10]  # the limits file names the two most sensitive ranges
    # Rounding adds 1/12 to the variance. 20 mV range at 40 %: 512000 codes/V; the arithmetic range has twice as many.
    rms_code = math.sqrt(9.0 + 1 / 12)
    assert found[9].measured == pytest.approx(1e6 * rms_code / 512000, rel=2e-3)
    assert found[10].measured == pytest.approx(1e6 * rms_code / 1024000, rel=2e-3)
    assert (found[9].outcome, found[10].outcome) == (FAIL, PASS)
    assert reasons(result, "input-noise")[0] == "ch1 20mV 40 %: input-noise 5.88 uV rms, allowed +4.2 uV rms"


def test_f_test_of_the_table_and_the_added_scatter() -> None:
    # F(9, 9) at 1 percent is 5.35 (table of Snedecor).
    base = np.linspace(-1.0, 1.0, 10)
    unit = base / base.std(ddof=1)
    for ratio, added in ((5.3, 0.0), (5.4, math.sqrt(4.4))):
        found = added_scatter(list(0.01 * unit), list(0.01 * math.sqrt(ratio) * unit))
        assert found.critical_ratio == pytest.approx(5.35, abs=0.005)
        assert found.variance_ratio == pytest.approx(ratio, rel=1e-9)
        assert found.added_percent == pytest.approx(0.01 * added, rel=1e-6)
    assert added_scatter([1.0, 1.0], [1.0, 1.0]).added_percent == 0.0
    assert added_scatter([1.0, 1.0], [1.0, 3.0]).variance_ratio == math.inf


def test_equal_scatters_are_told_apart_as_seldom_as_said() -> None:
    rng = np.random.default_rng(7)
    hits = sum(added_scatter(*rng.standard_normal((2, 10))).added_percent > 0.0 for _ in range(1500))
    # 1 percent of 1500: 15; the binomial leaves 4 to 30 in all but 1 of 1000 cases.
    low, high = stats.binom.ppf([0.0005, 0.9995], 1500, 0.01)
    assert low <= hits <= high


def test_scatter_by_toggling_fails_only_where_it_is_more_than_chance_and_more_than_the_limit() -> None:
    pattern = np.array([1.0, -1.0] * 5) * math.sqrt(0.9)  # standard deviation 1

    def scattered(percent: float) -> Callable[[Rung], Reading]:
        seen: dict[tuple[object, Purpose], int] = {}

        def make(rung: Rung) -> Reading:
            key = (rung.setting, rung.purpose)
            number = seen[key] = seen.get(key, -1) + 1
            size = percent if rung.purpose is Purpose.REPEAT_TOGGLED else 0.002
            return extra_of(rung, gain_ratio=1.0 + size / 100 * float(pattern[number]))

        return make

    purposes = [Purpose.REPEAT, Purpose.REPEAT_TOGGLED]
    for percent, outcome in ((0.002, PASS), (0.03, PASS), (0.3, FAIL)):
        result = run(purposes, scattered(percent))
        found = claims(result, "toggle-scatter")
        assert len(found) == 2
        assert {claim.outcome for claim in found} == {outcome}
        if percent >= 0.03:
            # Amplitudes are whole codes in 1500: single readings round by up to 0.02 percent at this fill.
            assert [c.measured for c in found] == pytest.approx([percent] * 2, rel=0.1)
    assert "F " in reasons(result, "toggle-scatter")[0]
    assert (
        "(chance up to 5.35): toggle-scatter 0.3 percent, allowed +0.05 percent" in reasons(result, "toggle-scatter")[0]
    )


def test_repeats_with_too_few_readings_are_invalid() -> None:
    result = run(
        [Purpose.REPEAT, Purpose.REPEAT_TOGGLED], lambda r: extra_of(r) if r.purpose is Purpose.REPEAT else None
    )
    assert {c.outcome for c in claims(result, "toggle-scatter")} == {INVALID}
    assert "10 of 20 readings: not read" in reasons(result, "toggle-scatter")[0]


def test_crosstalk_is_the_share_of_the_other_channels_own_amplitude() -> None:
    for share, outcome in ((0.005, PASS), (0.01, FAIL)):
        result = run(
            [Purpose.CROSSTALK], lambda rung, share=share: extra_of(rung, gain_ratio=2 * share, noise_code=3.0)
        )
        (found,) = claims(result, "crosstalk")
        # The victim's range doubles by arithmetic what couples; noise of 3 codes rms leaves 0.07 of 1638 codes.
        assert found.measured == pytest.approx(100 * share, abs=0.01)
        assert found.outcome is outcome
    assert reasons(result, "crosstalk")[0].startswith(
        "ch1 10mV 40 % beside ch4 20V 100 %: crosstalk 0.99"
    )


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"aggressor_vpk": 0.0}, "the other channel was not driven"),
        ({"aggressor_hz": 1.0}, "too-few-cycles"),
        ({"waveform": None}, "no plain record"),
        ({"status": ReadingStatus.INVALID, "reason": "ReadTimeout: x"}, "ReadTimeout: x"),
    ],
)
def test_crosstalk_without_a_driven_channel_or_a_record_is_not_measured(changes: dict[str, object], said: str) -> None:
    result = run([Purpose.CROSSTALK], lambda rung: dataclasses.replace(extra_of(rung), **changes))
    assert [c.outcome for c in claims(result, "crosstalk")] == [INVALID]
    assert said in reasons(result, "crosstalk")[0]


def test_a_try_that_was_repeated_and_one_of_no_plan_are_left_out() -> None:
    def twice(rung: Rung) -> Reading:
        return dataclasses.replace(extra_of(rung, noise_code=50.0), status=ReadingStatus.RETRIED)

    result = run([Purpose.QUIET], twice)
    assert reasons(result, "input-noise")[0].endswith("not read")
    stray = next(rung for rung in WHOLE.extras if rung.purpose is Purpose.TWO_LEVEL)
    judge = judge_of(dataclasses.replace(SETUP, extras=()))
    assert judge.take(extra_of(stray, gain_ratio=3.0)) is PASS


def match_of(factor: dict[int, float]) -> RunResult:
    judge = judge_of(dataclasses.replace(SETUP, extras=()))
    for rung in SETUP.rungs:
        doubled = int(rung.prediction.state.arithmetic_ratio)
        judge.take(reading_of(rung, gain_ratio=factor.get(rung.setting.channel, 1.0), step=doubled))
    return judge.result()


def test_match_is_the_distance_to_the_mean_of_the_other_channels() -> None:
    found = claims(match_of({1: math.exp(0.012), 2: math.exp(-0.006)}), "channel-match")
    by_channel = {c.setting.channel: c.measured for c in found if c.setting}
    # Logs of 1.2, -0.6, 0 percent: 1.2 + 0.3, -0.6 - 0.6, 0 - 0.3.
    assert by_channel == pytest.approx({1: 1.5, 2: -1.2, 3: -0.3}, abs=0.04)
    assert {claim.outcome for claim in found} == {PASS}


def test_one_channel_that_fails_does_not_fail_the_match_of_the_others() -> None:
    found = claims(match_of({2: 1.1}), "channel-match")
    assert {c.setting.channel: c.outcome for c in found if c.setting} == {1: PASS, 2: FAIL, 3: PASS}
    off = [c.measured for c in found if c.setting and c.setting.channel == 2]
    assert off == pytest.approx([100 * math.log(1.1)] * len(COARSE), abs=0.04)


def changed(codes: np.ndarray, rung: Rung) -> Reading:
    made = reading_of(rung)
    assert made.waveform is not None
    return dataclasses.replace(made, waveform=dataclasses.replace(made.waveform, codes=codes))


def test_offset_in_percent_of_the_converters_span_and_noise_in_codes() -> None:
    wanted = (*COARSE, 10)
    rungs = [r for r in WHOLE.rungs if (r.setting.channel, r.setting.fine) == (1, 20) and r.setting.coarse in wanted]
    setup = dataclasses.replace(WHOLE, rungs=tuple(rungs), extras=())
    rng = np.random.default_rng(3)
    judge = judge_of(setup)
    for rung in rungs:
        size = {0: (0.0, 0.0), 3: (200.0, 0.0), 9: (0.0, 6.0), 10: (200.0, 0.0)}[rung.setting.coarse]
        amplitude = rung.drive_vpk * SETUP.input_ratio * rung.prediction.gain_codes_per_v
        codes = codes_of(amplitude, offset_code=size[0])
        judge.take(changed((codes + np.round(rng.normal(0.0, size[1], codes.size))).astype(np.int16), rung))
    result = judge.result()
    offsets = {c.setting.coarse: c for c in claims(result, "offset") if c.setting}
    noises = {c.setting.coarse: c for c in claims(result, "noise") if c.setting}
    assert offsets[3].measured == pytest.approx(100 * 200 / 4096, abs=0.01)
    # The codes of the least range are declared to be doubled: at the converter the offset is half as much.
    assert offsets[10].measured == pytest.approx(100 * 100 / 4096, abs=0.01)
    assert noises[9].measured == pytest.approx(math.hypot(6.0, math.sqrt(2 / 12)), rel=0.03)
    assert {coarse: c.outcome for coarse, c in offsets.items()} == {0: PASS, 3: FAIL, 9: PASS, 10: PASS}
    assert {coarse: c.outcome for coarse, c in noises.items()} == {0: PASS, 3: PASS, 9: FAIL, 10: PASS}
    assert (
        reasons(result, "offset")[0] == "ch1 2V 40 %: offset 4.88 percent of span, allowed -3.5 to +3.5 percent of span"
    )
