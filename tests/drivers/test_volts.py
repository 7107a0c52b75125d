"""Records as scaled volts: their codes by the spacing that the values have in common."""

from __future__ import annotations

import numpy as np
import pytest

from harness.drivers import DeviceDriver
from harness.errors import BadReply

STEP_V = 4.8828e-3
"""The scale that the scripted device displays."""


def codes(amplitude: float = 700.0) -> np.ndarray:
    rng = np.random.default_rng(7)
    angle = 2.0 * np.pi * 17 * np.arange(4000) / 4000
    return np.rint(amplitude * np.sin(angle) + rng.normal(0.0, 0.5, 4000))


@pytest.fixture
def acquired(device_rig, profile, slot, device_file, pushed_clock):
    """The waveform that the driver makes of values."""
    _, instrument, link = device_rig

    def acquire(values, kind: str = "volts-little"):
        payload = np.asarray(values).astype("<f4" if kind == "volts-little" else ">f4").tobytes()
        instrument.overrides["FETC:CODE?"] = f"#5{len(payload):05d}".encode() + payload + b"\n"
        changed = profile("device").model_copy(update={"code_type": kind})
        return DeviceDriver(link, changed, slot(), device_file, pushed_clock).acquire(1)

    return acquire


@pytest.mark.parametrize("kind", ["volts-little", "volts-big"])
def test_codes_and_their_volts_come_out_of_the_spacing(acquired, kind: str) -> None:
    wave = acquired(codes() * 3.17e-3, kind)
    assert np.array_equal(wave.codes, codes())
    assert wave.codes.dtype == np.int16
    assert wave.scale_v_per_code == pytest.approx(3.17e-3, rel=1e-6)


def test_a_displayed_scale_that_goes_into_the_spacing_shows_codes_that_lie_apart(acquired) -> None:
    wave = acquired(2.0 * codes() * STEP_V)
    assert np.array_equal(wave.codes, 2.0 * codes())
    assert wave.scale_v_per_code == pytest.approx(STEP_V, rel=1e-6)


def test_a_record_that_hardly_moves_takes_the_displayed_scale(acquired) -> None:
    wave = acquired(codes(1.0) * STEP_V)
    assert np.array_equal(wave.codes, codes(1.0))
    assert wave.scale_v_per_code == STEP_V


@pytest.mark.parametrize(
    ("values", "says"),
    [
        (codes() * STEP_V + np.random.default_rng(1).normal(0.0, 1.0, 4000), "without a code spacing: .*no common"),
        (np.full(4000, np.nan), "values that are no numbers"),
        (codes(9000.0) * STEP_V, "allowed: -8192 to 8191, the codes of the converter"),
        (codes()[:100] * STEP_V, "got 400 bytes of codes; allowed: 4000 samples of 4 bytes"),
    ],
)
def test_a_record_that_shows_no_codes_is_refused_with_the_reason(acquired, values, says: str) -> None:
    with pytest.raises(BadReply, match=says):
        acquired(values)
