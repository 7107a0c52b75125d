"""A bench in memory whose links get into trouble at any byte, and what must be true of every reading it gives.

The property: **no wrong number is ever recorded as good.** A VALID reading has the gain of its own setting, at the
level that was really put out, and, when a capture is with it, the word of its own setting; a record that nobody could
trust is INVALID or was taken again; no unit is called unmeasurable because of a link; in the end the source is off.
"""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from harness.app.bench_open import open_bench
from harness.app.run import plan_of
from harness.app.setup import read_setup
from harness.bench import Recorder
from harness.bus import decode
from harness.errors import BenchError, CaptureError, StationFault
from harness.simulated.faults.link_fault import Due, Line, LinkFault
from harness.simulated.link import MemoryLink
from harness.simulated.status import QUEUE_DEPTH
from harness.sweep import sweep
from harness.values import Direction, Reading, ReadingStatus, Rung, Setting

SETUP = read_setup(str(Path(__file__).resolve().parents[2] / "configs" / "jobs" / "ci.toml"))
PLAN = plan_of(SETUP)
ROLES = ("source", "device", "adapter")
PLACES = ((1, 3, 0), (1, 3, 10), (1, 8, 20), (2, 8, 20))
GAIN_PERCENT = 2.0
"""A good unit with its source lies within 1.3 %; the nearest wrong setting here is 43 % away."""


class Spoiler:
    """Spoils one answer of a link: the `after`-th one from now."""

    def __init__(self, kind: str, after: int, byte: int) -> None:
        self._kind, self._left, self._byte = kind, after, byte

    def __call__(self, due: Due, link: MemoryLink) -> Due | None:
        if self._left:
            self._left -= 1
            return due
        link.hooks.remove(self)
        at_s, answer = due
        place = self._byte % max(len(answer), 1)
        if self._kind == "late":
            return at_s + 1.5 * link.timeout_s, answer
        if self._kind == "lost":
            return None
        if self._kind in GOING:
            self._gone(link)
            return None
        return at_s, spoiled(self._kind, answer, place)


    def _gone(self, link: MemoryLink) -> None:
        """The peer goes away; it comes back at once, later, as somebody else, or having forgotten everything."""
        link.broken = True
        if self._kind == "unplugged":
            link.line.refuses = 1 + self._byte % 3
        if self._kind == "renamed":
            link.hooks.append(stranger)
        if self._kind == "restarted":
            link.line.instrument.handle(b"*RST")


def stranger(due: Due, link: MemoryLink) -> Due:
    """Another device has the address: it answers the first question who it is."""
    if link.line.question.strip().upper() != b"*IDN?":
        return due
    link.hooks.remove(stranger)
    return due[0], b"Ardnish,PM-3,AR000017,1.0\n"


class Meddler(LinkFault):
    """Spoils one message on its way to the instrument: the `after`-th one from now."""

    def __init__(self, kind: str, after: int) -> None:
        self._kind, self._left = kind, after

    def _struck(self) -> bool:
        self._left -= 1
        return self._left == -1

    def writing(self, message: bytes, line: Line) -> float:
        """The peer takes nothing."""
        return 2.0 * line.timeout_s if self._kind == "deaf" and self._struck() else 0.0

    def command(self, message: bytes, line: Line) -> bytes | None:
        """Refused, swallowed, or carried out while the queue runs over."""
        if self._kind == "deaf" or not self._struck():
            return message
        for _ in range(QUEUE_DEPTH + 1 if self._kind == "overflow" else self._kind == "rejected"):
            line.instrument.status.report(-221, "refused")
        return message if self._kind == "overflow" else None


def spoiled(kind: str, answer: bytes, place: int) -> bytes:
    """An answer that is wrong from a byte on, or at it."""
    return {
        "cut": answer[:place],
        "twice": answer + answer,
        "line feed": answer[:place] + b"\n" + answer[place:],
        "dropped": answer[:place] + answer[place + 1 :],
        "foreign": b"1999.0\n" + answer,
        "infinite": b"9.9E+37\n",
        "not a number": b"9.91E+37\n",
        "other instrument": b"Ardnish,PM-3,AR000017,1.0\n",
        "empty": b"\n",
    }[kind]


MESSAGES = ("deaf", "rejected", "overflow", "swallowed")
"""What can happen to a message on its way out."""
GOING = ("closed", "unplugged", "renamed", "restarted")
"""How a peer goes away: a reset of the connection looks like `closed` here."""
KINDS = (*GOING, "late", "lost", "cut", "twice", "line feed", "dropped", "foreign", "infinite", "not a number",
         "other instrument", "empty")  # fmt: skip


class Kept:
    """A recorder in memory."""

    def __init__(self) -> None:
        self.readings: list[Reading] = []

    def record(self, reading: Reading) -> None:
        """Keep it."""
        self.readings.append(reading)

    def note(self, kind: str, text: str) -> None:
        """Nobody reads the journal here."""


def rungs() -> tuple[Rung, ...]:
    """A few rungs of the short job: two in one range, a pre-gain, another channel."""
    by_setting = {rung.setting: rung for rung in PLAN.rungs if rung.direction is Direction.UP}
    return tuple(by_setting[Setting(*place)] for place in PLACES)


class LinkWorld:
    """One bench, open; `walk` sweeps its few rungs with whatever trouble has been put in."""

    def __init__(self, bench: Any, recorder: Callable[[Recorder], Recorder]) -> None:
        self.bench = bench
        self._recorder = recorder
        self.rungs = {rung.setting: rung for rung in rungs()}
        self.locked = ""
        """What the last walk held against the station; nothing is wrong with it but links."""
        self.links = {role: getattr(bench, role)._link for role in ROLES}

    def walk(self) -> list[Reading]:
        """Sweep; an error that ends the sweep ends it here too, with the source off unless its link is gone."""
        kept = Kept()
        plan = dataclasses.replace(PLAN, rungs=tuple(self.rungs.values()))
        self.locked = ""
        try:
            sweep(self.bench, plan, self._recorder(kept), progress=lambda done, reading: None)
        except StationFault as error:
            self.locked = str(error)
        except BenchError:
            pass
        return kept.readings

    def heal(self) -> None:
        """Nothing more is wrong with the links, and nothing is left of what was."""
        for link in self.links.values():
            link.hooks.clear()
            link.faults[:] = [fault for fault in link.faults if not isinstance(fault, Meddler)]
            link.line.refuses = 0
            link.reopen()
        for role in ROLES:
            getattr(self.bench, role).resynchronise()

    def source_is_on(self) -> bool:
        """What the source itself says, past any link."""
        return bool(self.links["source"].line.instrument.handle(b"OUTP?").strip() == b"1")

    def wrong(self, readings: Sequence[Reading]) -> list[str]:
        """What is wrong among the readings that claim to be good."""
        found = [f"the station is locked: {self.locked}"] if self.locked else []
        for reading in readings:
            rung = self.rungs[reading.setting]
            if reading.status is ReadingStatus.UNMEASURABLE:
                found.append(f"{rung.prediction.label} is called unmeasurable: {reading.reason}")
            if reading.status is ReadingStatus.VALID:
                found += wrong_gain(reading, rung) + wrong_word(reading, rung)
        return found


def wrong_gain(reading: Reading, rung: Rung) -> list[str]:
    """Whether the gain is that of the rung, by the projection on the test frequency and not by a fit of ours."""
    wave = reading.waveform
    if wave is None:
        return [f"{rung.prediction.label}: valid without a record"]
    t_s = np.arange(wave.codes.size) / wave.sample_rate_hz
    parts = [2.0 * float(wave.codes @ f(2 * np.pi * reading.frequency_hz * t_s)) for f in (np.cos, np.sin)]
    gain = float(np.hypot(*parts)) / wave.codes.size / (reading.drive_read_vpk * PLAN.input_ratio)
    error_percent = 100.0 * abs(float(np.log(gain / rung.prediction.gain_codes_per_v)))
    return [] if error_percent < GAIN_PERCENT else [f"{rung.prediction.label}: off by {error_percent:.2f} %"]


def wrong_word(reading: Reading, rung: Rung) -> list[str]:
    """Whether a capture that claims to be whole holds the word of the rung."""
    if reading.capture is None or reading.capture.dropped or SETUP.wiring is None:
        return [] if reading.capture_reason or reading.capture else [f"{rung.prediction.label}: no capture, no reason"]
    wanted = rung.prediction.state.word
    try:
        word = decode(reading.capture, SETUP.wiring).last(wanted.latch)
    except CaptureError:
        return []
    right = word is not None and word.value == wanted.value
    return [] if right else [f"{rung.prediction.label}: word {word} instead of {wanted}"]


@contextlib.contextmanager
def link_world(*faults: str, seed: int = 1) -> Iterator[LinkWorld]:
    """Open a bench in memory."""
    with open_bench(SETUP.bench, SETUP.device, transport="in-process", seed=seed, faults=faults) as opened:
        yield LinkWorld(opened.bench, opened.recorder)
