"""Gains and words out of records: a CSV that somebody kept, captures by setting; no bench."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from harness.bus import BusDevice, BusWiring, LabelledCapture
from harness.config import SettingsFile
from harness.errors import CaptureError, LearnError, UsageError
from harness.learn.explain import Observed
from harness.learn.gains_csv import Recorded
from harness.learn.listen import Heard
from harness.learn.readings import Gathered
from harness.learn.taken import taken
from harness.values import Capture, ControlWord, Setting

MOST_LINES_OF_BUS = 8
DATA, CLOCK = "unknown-data", "unknown-clock"
"""Lines that nobody has heard."""
STEM = re.compile(r"(\d+)-(\d+)-(\d+)")
STEM_ALLOWED = "allowed is CHANNEL-COARSE-FINE, such as 1-0-12.csv: rename it"


def gather_records(recorded: Sequence[Recorded]) -> tuple[Gathered, BusWiring | None]:
    """What the CSV alone shows.

    Args:
        recorded: its lines.
    Returns:
        observations without any waveform; and a bus whose lines are unknown, each with a name that says so, where the
        CSV has words: a device file needs one for them. None without words, or where 8 lines cannot hold the latches.
    Source:
        none: bookkeeping.
    """
    form = Counter(tuple(map(len, one.words)) for one in recorded if one.words).most_common(1)
    with_words = bool(form)
    observed, unheard = [], []
    for one in recorded:
        if with_words and not one.words:
            unheard.append((one.setting, "no word in its line"))
            continue
        words = tuple(
            ControlWord(_latch(one.setting.channel, place), len(word), int(word, 2))
            for place, word in enumerate(one.words)
        )
        observed.append(_observed(one, words))
    wiring = _unknown_lines(recorded, form[0][0]) if with_words else None
    return _gathered(observed, recorded, unheard), wiring


def _latch(channel: int, place: int) -> str:
    return f"unknown-latch-{channel}" if place == 0 else f"unknown-latch-{channel}-{place + 1}"


def _observed(one: Recorded, words: tuple[ControlWord, ...]) -> Observed:
    return Observed(setting=one.setting, words=words, gain_codes_per_v=one.gain_codes_per_v, u_ratio=one.u_ratio)


def _gathered(
    observed: Sequence[Observed], recorded: Sequence[Recorded], unheard: Sequence[tuple[Setting, str]]
) -> Gathered:
    unread = tuple((one.setting, "no gain in its line") for one in recorded if one.gain_codes_per_v is None)
    return Gathered(observed=tuple(observed), waves={}, unread=unread, unheard=tuple(unheard))


def _unknown_lines(recorded: Sequence[Recorded], form: tuple[int, ...]) -> BusWiring | None:
    channels = sorted({one.setting.channel for one in recorded if one.words})
    devices = [(channel, place, bits) for channel in channels for place, bits in enumerate(form)]
    if len(devices) + 2 > MOST_LINES_OF_BUS:
        return None
    latches = tuple(_latch(channel, place) for channel, place, _ in devices)
    return BusWiring(
        lines=(DATA, CLOCK, *latches), data=DATA, clock=CLOCK, clock_rising=True, latch_rising=True,
        minimum_pulse_ns=0.0,
        devices=tuple(BusDevice(latch=latch, bits=bits) for latch, (_, _, bits) in zip(latches, devices, strict=True)),
    )  # fmt: skip


def setting_of_stem(stem: str, *, settings: SettingsFile, file: str) -> Setting:
    """The setting that a capture's file name stands for.

    Args:
        stem: CHANNEL-COARSE-FINE, channel from 1, places from 0.
        settings: how many there are.
        file: for messages.
    Returns:
        the setting.
    Raises:
        UsageError: the name is another one, or no such setting exists.
    Source:
        none: naming.
    """
    match = STEM.fullmatch(stem)
    if match is None:
        raise UsageError(f"{file}: got {stem!r}; {STEM_ALLOWED}")
    channel, coarse, fine = (int(text) for text in match.groups())
    ranges, positions = len(settings.range_names), len(settings.fine_names)
    if not (1 <= channel <= settings.channels and coarse < ranges and fine < positions):
        most = f"{settings.channels}-{ranges - 1}-{positions - 1}"
        raise UsageError(f"{file}: no such setting; allowed is 1-0-0 to {most}: rename it, or mend the settings file")
    return Setting(channel, coarse, fine)


def labelled(captures: Mapping[Setting, Capture]) -> Iterator[LabelledCapture]:
    """Captures with what was moved in them: of each channel, the range with most captures gives an order.

    Args:
        captures: by setting.
    Yields:
        each with its channel; with a rank inside that range.
    Source:
        none: bookkeeping.
    """
    counts = Counter((setting.channel, setting.coarse) for setting in captures)
    for setting, capture in sorted(captures.items(), key=lambda entry: entry[0]):
        most = max(count for (channel, _), count in counts.items() if channel == setting.channel)
        first = min(coarse for (channel, coarse), n in counts.items() if channel == setting.channel and n == most)
        rank = float(setting.fine) if setting.coarse == first else None
        yield LabelledCapture(capture=capture, channel=setting.channel, rank=rank)


def gather_captures(recorded: Sequence[Recorded], captures: Mapping[Setting, Capture], heard: Heard) -> Gathered:
    """Gains of the CSV with words of the captures.

    Args:
        recorded: lines of the CSV; words in it are not looked at.
        captures: by setting.
        heard: what the captures said of lines and latches.
    Returns:
        observations; a setting without a capture, or without a whole word in it, is listed.
    Raises:
        LearnError: the captures do not tell the roles of the lines; the message has what is missing.
    Source:
        none: bookkeeping.
    """
    if heard.wiring is None:
        todo = "leave --captures out to go on with gains alone"
        raise LearnError(f"learn: the captures do not tell the lines apart: {'; '.join(heard.troubles)}; or {todo}")
    observed, unheard = [], []
    for one in recorded:
        words, why = _words(captures.get(one.setting), heard.wiring, heard.latches.get(one.setting.channel, ()))
        if why:
            unheard.append((one.setting, why))
        else:
            observed.append(_observed(one, words))
    return _gathered(observed, recorded, unheard)


def _words(
    capture: Capture | None, wiring: BusWiring, latches: tuple[str, ...]
) -> tuple[tuple[ControlWord, ...], str]:
    """The last word under each latch, or why not."""
    if capture is None:
        return (), "no capture of it"
    if not latches:
        return (), "no word follows its channel"
    try:
        last = dict(taken(capture, wiring))
    except CaptureError as error:
        return (), str(error)
    held = {latch: word for latch, word in last.items() if word is not None}
    missing = [latch for latch in latches if latch not in held]
    if missing:
        return (), f"no whole word under {', '.join(missing)}"
    return tuple(held[latch] for latch in latches), ""
