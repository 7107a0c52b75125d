"""All tests that two records of a step allow."""

from __future__ import annotations

from harness.judge.waveform.doubles import doubled_codes
from harness.judge.waveform.gaps import code_gaps_test
from harness.judge.waveform.noise import input_noise
from harness.judge.waveform.record import Record, Seen, see
from harness.judge.waveform.result import WaveformTest
from harness.judge.waveform.same_codes import same_codes
from harness.judge.waveform.step_size import step_size


def waveform_tests(
    a: Record,
    b: Record,
    *,
    ratio: float,
    a_as_b: Record | None = None,
    converter_noise_code: float | None = None,
    u_ratio_percent: float = 0.1,
    origins: tuple[int, ...] = (0,),
) -> tuple[WaveformTest, ...]:
    """What two ordinary records of a step tell: W1, W2 or W2', W3, W7.

    W4, W5 and W6 need more than two records and are made apart.

    Args:
        a: the reference setting.
        b: the setting that is `ratio` times more sensitive by name.
        ratio: name of b over name of a, > 0, not 1.
        a_as_b: the reference driven like b, for W7; None takes a, which serves where both were driven alike.
        converter_noise_code: as input_noise.
        u_ratio_percent: as step_size.
        origins: as code_gaps_test.
    Returns:
        the tests, each able to say that it cannot tell.
    Raises:
        NotFinite: a sample is NaN, infinite or an instrument's 9.9E37.
        TooFewCycles: less than one cycle in a record.
        FitFailed: no sine can be fitted, or a record is shorter than 200 samples.
    Source:
        common practice, no source (tests W1 to W7).
    """
    return compare_records(
        see(a), see(b), ratio=ratio, a_as_b=None if a_as_b is None else see(a_as_b),
        converter_noise_code=converter_noise_code, u_ratio_percent=u_ratio_percent, origins=origins,
    )  # fmt: skip


def compare_records(
    a: Seen,
    b: Seen,
    *,
    ratio: float,
    a_as_b: Seen | None = None,
    converter_noise_code: float | None = None,
    u_ratio_percent: float = 0.1,
    origins: tuple[int, ...] = (0,),
) -> tuple[WaveformTest, ...]:
    """As waveform_tests, of records that were looked at before.

    Args:
        a: the reference setting.
        b: the setting that is `ratio` times more sensitive by name.
        ratio: name of b over name of a, > 0, not 1.
        a_as_b: as waveform_tests.
        converter_noise_code: as input_noise.
        u_ratio_percent: as step_size.
        origins: as code_gaps_test.
    Returns:
        the tests, each able to say that it cannot tell.
    Source:
        see waveform_tests.
    """
    gaps = code_gaps_test if ratio > 1.0 else doubled_codes
    return (
        step_size(a, b, ratio=ratio, u_ratio_percent=u_ratio_percent),
        gaps(a, b, ratio=ratio, origins=origins, u_ratio_percent=u_ratio_percent),
        input_noise(a, b, ratio=ratio, converter_noise_code=converter_noise_code),
        same_codes(a if a_as_b is None else a_as_b, b, ratio=ratio),
    )
