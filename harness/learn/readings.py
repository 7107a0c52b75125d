"""From raw readings to what was seen of each setting: words from captures, gains and records from waveforms."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from statistics import median

from harness.bus import BusWiring
from harness.config import DeviceFile
from harness.errors import CaptureError
from harness.judge import waveform
from harness.judge.looked import look
from harness.judge.measured import Measured, measure
from harness.learn.explain import Observed
from harness.learn.taken import taken
from harness.values import ControlWord, Purpose, Reading, Setting

OWN_RATIO = 1e-4
"""What two readings of a gain differ by beside noise: repeatability of source and device."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """What a run shows."""

    observed: tuple[Observed, ...]
    waves: Mapping[Setting, waveform.Seen]
    unread: tuple[tuple[Setting, str], ...]
    """Settings without a gain, and why."""
    unheard: tuple[tuple[Setting, str], ...]
    """Settings without a whole word, and why."""
    spacings_v: Mapping[int, float] = field(default_factory=dict)
    """Volts a code in each range, where records came as scaled volts and their codes were found from the spacing."""
    noise_code: float | None = None
    """Median noise of such records, codes rms; None where nobody looked."""


@dataclass(slots=True)
class _One:
    """What is known of one setting so far."""

    gains: list[float] = field(default_factory=list)
    variances: list[float] = field(default_factory=list)
    words: dict[str, ControlWord] = field(default_factory=dict)
    why: str = "not read"


def gather_readings(
    readings: Iterable[Reading],
    *,
    device: DeviceFile,
    wiring: BusWiring | None,
    latches: Mapping[int, tuple[str, ...]],
    input_ratio: float,
    in_volts: bool = False,
) -> Gathered:
    """What each setting of a run shows.

    Args:
        readings: of one run, in order.
        device: for converter and acquisition.
        wiring: of the bus; None without one.
        latches: whose word follows each channel, by channel.
        input_ratio: volts at the device's input per volt that the source is set to.
        in_volts: whether the codes of records were found behind scaled volts.
    Returns:
        one observation for each setting, with a gain where a valid reading gave one. A gain device keeps its word until
        it takes another one, so a reading in which nothing was sent has the word of the one before; after a frame
        that is not sound it has none until the next sound one.
    Source:
        sine fit: IEEE Std 1057; the rest is bookkeeping.
    """
    known: dict[Setting, _One] = {}
    waves: dict[Setting, waveform.Seen] = {}
    spacings: dict[int, list[float]] = {}
    noises: list[float] = []
    held: dict[str, ControlWord] = {}
    for reading in readings:
        if wiring is not None:
            _listen(reading, wiring, held)
        if reading.purpose is not Purpose.LADDER or not reading.final:
            continue
        one = known.setdefault(reading.setting, _One())
        for latch in latches.get(reading.setting.channel, ()):
            if latch in held:
                one.words[latch] = held[latch]
        measured = measure(reading, device=device, bus=None, latches=(), input_ratio=input_ratio)
        _add(one, measured)
        if in_volts and measured.fit is not None and reading.waveform is not None:
            spacings.setdefault(reading.setting.coarse, []).append(reading.waveform.scale_v_per_code)
            noises.append(measured.fit.noise_code)
        if reading.setting not in waves and measured.fit is not None and measured.gain_codes_per_v is not None:
            seen = look(reading, measured.fit, device=device, input_ratio=input_ratio)
            if seen is not None:
                waves[reading.setting] = seen
    found = _gathered(known, waves, latches)
    steps = {coarse: median(of_range) for coarse, of_range in sorted(spacings.items())}
    return replace(found, spacings_v=steps, noise_code=median(noises) if noises else None)


def _listen(reading: Reading, wiring: BusWiring, held: dict[str, ControlWord]) -> None:
    """What each gain device holds afterwards; one that took a frame nobody could read holds nothing that is known."""
    if reading.capture is None:
        return
    try:
        heard = tuple(taken(reading.capture, wiring))
    except CaptureError:
        held.clear()
        return
    for latch, word in heard:
        if word is None:
            held.pop(latch, None)
        else:
            held[latch] = word


def _add(one: _One, measured: Measured) -> None:
    if measured.gain_codes_per_v is None or measured.fit is None:
        one.why = measured.reason or str(measured.status)
        return
    fit = measured.fit
    one.gains.append(measured.gain_codes_per_v)
    one.variances.append(2.0 * fit.noise_code**2 / (fit.samples * fit.amplitude_code**2) + OWN_RATIO**2)


def _gathered(
    known: Mapping[Setting, _One], waves: Mapping[Setting, waveform.Seen], latches: Mapping[int, tuple[str, ...]]
) -> Gathered:
    observed: list[Observed] = []
    unheard: list[tuple[Setting, str]] = []
    for setting, one in known.items():
        wanted = latches.get(setting.channel, ())
        if any(latches.values()) and not wanted:
            unheard.append((setting, "no word follows its channel"))
            continue
        missing = [latch for latch in wanted if latch not in one.words]
        if missing:
            unheard.append((setting, f"no whole word under {', '.join(missing)}"))
            continue
        gain = math.exp(sum(map(math.log, one.gains)) / len(one.gains)) if one.gains else None
        u_ratio = math.sqrt(sum(one.variances)) / len(one.variances) if one.variances else 0.0
        words = tuple(one.words[latch] for latch in wanted)
        observed.append(Observed(setting=setting, words=words, gain_codes_per_v=gain, u_ratio=u_ratio))
    unread = tuple((setting, one.why) for setting, one in known.items() if not one.gains)
    return Gathered(observed=tuple(observed), waves=waves, unread=unread, unheard=tuple(unheard))
